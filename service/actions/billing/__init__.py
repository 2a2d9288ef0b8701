"""What billing hears, and when.

Knows storage and vocabulary; of acceptance only what was decided.
"""
