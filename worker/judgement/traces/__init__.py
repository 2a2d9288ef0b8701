"""Traces aligned to the route: scale, echoes, events assigned to places.

Knows history and numbers; nothing of criteria that decide.
"""
