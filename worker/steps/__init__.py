"""One job's work each: read in one snapshot, compute with no transaction open, write once.

A step knows everything below it and no other step: they meet in the jobs table.
"""
