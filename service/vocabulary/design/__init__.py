"""A route as designed and laid out joint by joint, and what is billed of it.

Knows quantities and words alone.
"""
