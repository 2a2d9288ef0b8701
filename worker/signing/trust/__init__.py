"""Certificates, what they are meant for, and whose may stand in which place of a package.

Knows the fields and the reports, and no document but to find who signed it.
"""
