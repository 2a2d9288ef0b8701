"""What is kept: one module of statements for each aggregate, sessions with the database's clock, files by SHA-256.

Knows tables and vocabulary, and the refusal of what is not there; no use case. Nobody else states what is asked of the
database.
"""
