"""What needs all fibres together: statistics, suspicions, the verdict.

Knows what each fibre contributes, and never a fibre's records.
"""
