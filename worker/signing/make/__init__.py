"""Make signatures and time stamps, and read each back before letting it out.

Knows keys and the checks; whoever is asked outside for time or revocation is passed in.
"""
