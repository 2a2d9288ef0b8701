"""Run a function in a process of its own, within limits: what it reads may have been made to exhaust us."""
