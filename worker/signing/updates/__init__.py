"""Take apart what was written after the seal: every byte and object is explained, or is a problem.

Knows the PDF and nothing of keys, certificates or trust.
"""
