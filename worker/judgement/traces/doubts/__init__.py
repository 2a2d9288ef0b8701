"""What keeps a trace from being taken at its word: losses on no place, other traces, a break, another fibre.

Knows history, numbers, and where events and places lie.
"""
