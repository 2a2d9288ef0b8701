"""A table of equal things: one module for each kind of criterion, listed in `rules/table`.

Each knows what was measured and what rules share, and no other kind but where it builds on one.
"""
