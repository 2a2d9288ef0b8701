"""Exact numbers, limits and instants.

Knows the vocabulary alone; nothing of fibres.
"""
