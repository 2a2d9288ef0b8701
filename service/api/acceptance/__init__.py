"""The operations on status, submissions, packages, decisions and signatures.

Each parses, calls one action and answers.
"""
