"""Projects, people with their certificates, tokens and the audit chain.

Knows storage and vocabulary; of other actions only who is asking.
"""
