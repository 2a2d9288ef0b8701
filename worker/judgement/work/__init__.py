"""What a crew has to do to turn findings around, and in which order.

Knows rules and what was measured; writes no finding.
"""
