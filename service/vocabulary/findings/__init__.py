"""The form of what judging gives: findings, suspicions, concessions, trials.

Knows the criteria; nothing of how any of it comes about.
"""
