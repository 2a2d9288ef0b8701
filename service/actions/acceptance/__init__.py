"""From a submission to the decision on its package, by people or by the clock.

Knows storage and vocabulary, and billing for what a decision tells it.
"""
