"""The operations on projects, people, certificates and tokens.

Each parses, calls one action and answers.
"""
