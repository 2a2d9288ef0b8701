"""One fibre's history from its records: what was done, what was measured, and what of it counts.

Knows numbers.
"""
