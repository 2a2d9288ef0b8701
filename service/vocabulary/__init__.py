"""Records, designs, criteria and findings as values, and what all of them are made of: quantities, words, digests.

Knows nothing of ours: it is what everybody else talks in.
"""
