"""The operations on records and evidence files.

Each parses, calls one action and answers.
"""
