"""What crews send: each kind of record, and what it touches.

Knows the criteria, for what a rework voids; nothing of storage.
"""
