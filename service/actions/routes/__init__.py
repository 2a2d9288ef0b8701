"""Designs, criteria and what trials make of them.

Knows storage and vocabulary, and what a change invalidates.
"""
