"""Records accepted, replaced and withdrawn, and the files that they name.

Knows storage and vocabulary, and what a change invalidates.
"""
