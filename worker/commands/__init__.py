"""The command line, and what each of its commands does: running the processes, upkeep, verifying a file.

It may know everything; nothing knows it.
"""
