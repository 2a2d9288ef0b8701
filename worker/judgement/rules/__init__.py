"""A criterion made ready for one layout holds what was measured of a fibre against its limit, and gives findings.

Knows what was measured, and the criteria; nothing of work or of other fibres.
"""
