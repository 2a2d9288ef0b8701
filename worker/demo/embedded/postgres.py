"""An embedded PostgreSQL: one unix socket, real roles, settings that a benchmark may keep.

The wheel's own start, as root, adds a user to the system and opens its installation and every folder above it and above
the data to everybody; it knows one superuser and no settings, and shares its socket's folder with whoever runs there.
"""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psycopg
from psycopg import sql

from worker.demo.embedded.account import make_folder
from worker.demo.embedded.process import KeptServer
from worker.demo.embedded.programs import postgres_programs

SUPERUSER = "postgres"
OWNER = "acceptance_owner"
APPLICATION = "acceptance_app"
DATABASE = "acceptance"

_PORT = 5432
_SETTINGS = {
    "listen_addresses": "",
    "port": str(_PORT),
    "unix_socket_permissions": "0700",
    "max_connections": "60",
    "shared_buffers": "128MB",
    "fsync": "on",
    "synchronous_commit": "on",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
}
# Privileges on the schema go into template1, so that every database made later has them from the start. Nobody is
# given CREATE: the schema belongs to whoever owns the database.
_SCHEMA_PRIVILEGES = sql.SQL("REVOKE ALL ON SCHEMA public FROM PUBLIC; GRANT USAGE ON SCHEMA public TO {}")


class PostgresServer(KeptServer):
    """A PostgreSQL cluster that can be stopped, crashed and started again on the same socket.

    Stopping cuts open connections and writes the data out; after a crash the next start recovers from the log.
    """

    name = "postgres"
    stop_signal = signal.SIGINT
    # Not SIGKILL: it would leave shared memory and, for a moment, backends that block the next start.
    crash_signal = signal.SIGQUIT

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        programs = self._folder / "programs"
        make_folder(programs, owner=self._account)
        self._programs = postgres_programs(copy_into=programs, account=self._account)

    def url(self, *, role: str, database: str) -> str:
        """Return the SQLAlchemy URL by which a role reaches a database."""
        # The port is said because libpq would else take PGPORT from the environment.
        return f"postgresql+psycopg://{role}@/{quote(database)}?host={quote(str(self._folder))}&port={_PORT}"

    def connect(self, *, database: str) -> "psycopg.Connection[tuple[object, ...]]":
        """Connect as superuser, outside any transaction."""
        return psycopg.connect(host=str(self._folder), port=_PORT, user=SUPERUSER, dbname=database, autocommit=True)

    def initialise(self) -> None:
        """Make the cluster's data folder."""
        # The built-in locale sorts by code point and is the same on every system.
        options = ["--encoding=UTF8", "--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
        options += ["--auth=trust", f"--username={SUPERUSER}", "--no-instructions", "--no-sync"]
        self._run_to_its_end([str(self._programs / "initdb"), f"--pgdata={self._data}", *options])

    @property
    def _data(self) -> Path:
        return self._folder / "data"

    def _arguments(self) -> list[str]:
        settings = {**_SETTINGS, "unix_socket_directories": str(self._folder)}
        options = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        return [str(self._programs / "postgres"), "-D", str(self._data), *options]

    def _answers(self) -> bool:
        try:
            self.connect(database="postgres").close()
        except psycopg.OperationalError:
            return False
        return True


@dataclass(frozen=True, kw_only=True)
class EmbeddedPostgres:
    """A running PostgreSQL with the owner's and the application's way into one empty database."""

    owner_url: str
    application_url: str
    server: PostgresServer


@contextmanager
def run_postgres(folder: Path) -> Iterator[EmbeddedPostgres]:
    """Run a new PostgreSQL inside a private folder."""
    server = PostgresServer(folder)
    server.initialise()
    try:
        server.start()
        _create_roles(server)
        owner_url, application_url = _create_database(server, DATABASE, template="template1")
        yield EmbeddedPostgres(owner_url=owner_url, application_url=application_url, server=server)
    finally:
        server.stop()


def create_database(postgres: EmbeddedPostgres, name: str, *, template: str = "template1") -> tuple[str, str]:
    """Create a database, as a copy of a template nobody is connected to if one is named; return both roles' URLs."""
    return _create_database(postgres.server, name, template=template)


def _create_roles(server: PostgresServer) -> None:
    rights = "LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS"
    with server.connect(database="template1") as connection:
        for role in (OWNER, APPLICATION):
            connection.execute(sql.SQL(f"CREATE ROLE {{}} {rights}").format(sql.Identifier(role)))
        connection.execute(_SCHEMA_PRIVILEGES.format(sql.Identifier(APPLICATION)))


def _create_database(server: PostgresServer, name: str, *, template: str) -> tuple[str, str]:
    statement = sql.SQL("CREATE DATABASE {} OWNER {} TEMPLATE {}").format(
        sql.Identifier(name), sql.Identifier(OWNER), sql.Identifier(template)
    )
    with server.connect(database="postgres") as connection:
        connection.execute(statement)
    return server.url(role=OWNER, database=name), server.url(role=APPLICATION, database=name)
