"""From settings and criteria to signatures: the key, the level, authorities outside, the recorded decision.

Knows jobs and signing; no step.
"""
