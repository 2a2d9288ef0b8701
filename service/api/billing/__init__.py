"""The operations that billing reads.

Each parses, calls one action and answers.
"""
