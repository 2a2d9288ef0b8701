"""What every step shares: the runner, its lease, outages, and reading what is to be judged.

Knows storage and judging; no step.
"""
