"""Judging: from design, criteria and records to findings, work and a verdict; pure.

One room for each stage, in this order: numbers, history, traces, fibre, rules, work, route.
"""
