"""Judge a package from its bytes alone: its signatures, time stamps, levels, and what followed each of them.

Knows whom to trust and the updates; opens no key and makes nothing.
"""
