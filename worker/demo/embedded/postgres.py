"""An embedded PostgreSQL: one unix socket, real roles, settings that a benchmark may keep.

The wheel's own start knows one superuser and no settings, shares its socket's folder with whoever runs there, and as
root opens every folder above the data to everybody.
"""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
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

    @property
    def owner_url(self) -> str:
        """Return the owner's way into the first database."""
        return self.url(role=OWNER, database=DATABASE)

    @property
    def application_url(self) -> str:
        """Return the application's way into the first database."""
        return self.url(role=APPLICATION, database=DATABASE)

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


@contextmanager
def run_postgres(folder: Path) -> Iterator[PostgresServer]:
    """Run a new PostgreSQL inside a private folder, with both roles and one empty database."""
    postgres = PostgresServer(folder)
    postgres.initialise()
    with postgres:
        _create_roles(postgres)
        create_database(postgres, DATABASE)
        yield postgres


def create_database(postgres: PostgresServer, name: str, *, template: str = "template1") -> tuple[str, str]:
    """Create a database, as a copy of a template nobody is connected to if one is named; return both roles' URLs."""
    statement = sql.SQL("CREATE DATABASE {} OWNER {} TEMPLATE {}").format(
        sql.Identifier(name), sql.Identifier(OWNER), sql.Identifier(template)
    )
    with postgres.connect(database="postgres") as connection:
        connection.execute(statement)
    return postgres.url(role=OWNER, database=name), postgres.url(role=APPLICATION, database=name)


def _create_roles(postgres: PostgresServer) -> None:
    rights = "LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS"
    with postgres.connect(database="template1") as connection:
        for role in (OWNER, APPLICATION):
            connection.execute(sql.SQL(f"CREATE ROLE {{}} {rights}").format(sql.Identifier(role)))
        connection.execute(_SCHEMA_PRIVILEGES.format(sql.Identifier(APPLICATION)))
