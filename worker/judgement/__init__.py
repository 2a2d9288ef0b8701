"""Judging: from design, criteria and records to findings, work and a verdict; pure.

One room for each stage, in this order: numbers, history, traces, fibre, rules, work, documents, route. `judge` runs
them for one fibre; `documents` alone writes what the others give.
"""
