"""The work list of a route: single items of its fibres put together into orders, as a foreman would say them.

Knows designs and the forms of what judging gives; nothing of how any of it comes about.
"""
