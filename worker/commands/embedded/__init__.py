"""Servers of our own for the demo and the tests: private sockets or ports, no root, gone when we are gone."""

from worker.commands.embedded.postgres import EmbeddedPostgres, PostgresServer, create_database, run_postgres
from worker.commands.embedded.process import EmbeddedServerError
from worker.commands.embedded.programs import EmbeddedServersMissingError
from worker.commands.embedded.redis import RedisServer, run_redis
from worker.commands.embedded.stack_folder import NoFolderForServersError, private_folder
from worker.commands.embedded.time_authority import serve_time

__all__ = [
    "EmbeddedPostgres",
    "EmbeddedServerError",
    "EmbeddedServersMissingError",
    "NoFolderForServersError",
    "PostgresServer",
    "RedisServer",
    "create_database",
    "private_folder",
    "run_postgres",
    "run_redis",
    "serve_time",
]
