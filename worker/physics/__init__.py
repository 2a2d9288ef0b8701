"""The formulas the judge runs on light, with units and sources: arrays in, float64 arrays out.

Knows nothing of ours: no record, no criterion, no vocabulary.
"""
