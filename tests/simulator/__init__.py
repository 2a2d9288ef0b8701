"""A route with known truth, and what crews and instruments would post about it.

It knows nothing of the code that judges: NumPy, the standard library and `tests.bodies` only, its own arithmetic
throughout.
"""
