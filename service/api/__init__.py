"""The HTTP API: parse, call, answer."""
