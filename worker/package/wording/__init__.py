"""Findings, records and criteria in words, one value at a time.

Knows data; nothing of tables, sections and pages.
"""
