"""The operations on designs, criteria and trials.

Each parses, calls one action and answers.
"""
