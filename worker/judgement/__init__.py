"""Judging: from design, criteria and records to findings, work and a verdict; pure.

One room for each stage, in this order: numbers, history, traces, fibre, rules, work, route. `judge` runs them for one
fibre; `documents` alone writes what rules, work and route give.
"""
