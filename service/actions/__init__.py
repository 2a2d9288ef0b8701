"""Use cases: each receives a session, changes rows under its route's lock, and leaves the jobs that follow.

One room for each area; beside them what a change of a route invalidates.
"""
