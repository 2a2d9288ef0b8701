"""What was agreed before measuring, and what can be said of it without a record.

Knows designs; nothing of records or findings.
"""
