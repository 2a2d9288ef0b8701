"""Exact numbers, limits, instants and chances.

Knows the vocabulary alone; nothing of fibres.
"""
