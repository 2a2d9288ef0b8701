"""Formulas and readers that only tests use, each with its source: what the project's own results are held against.

Knows nothing of `service` and `worker`, so that no result is held against itself.
"""
