"""Engines and transactions.

A request or a step has one write transaction; nobody else calls commit. Timeouts keep a forgotten transaction
from holding a route's lock.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

import psycopg
from psycopg.abc import Buffer
from psycopg.types.datetime import TimestamptzLoader
from sqlalchemy import Engine, create_engine, event
from sqlmodel import Session

# A database host that vanished is noticed within seconds, not after the kernel's quarter of an hour.
TCP_PATIENCE: Mapping[str, Any] = MappingProxyType(
    {
        "connect_timeout": 5,
        "keepalives_idle": 5,
        "keepalives_interval": 3,
        "keepalives_count": 3,
        "tcp_user_timeout": 15_000,
    }
)
_OPTIONS = "-c lock_timeout=10s -c statement_timeout=60s -c idle_in_transaction_session_timeout=60s -c timezone=UTC"


def make_engine(url: str, *, pool_size: int = 5) -> Engine:
    """Return an engine whose sessions give up waiting instead of standing in each other's way."""
    engine = create_engine(
        url,
        pool_size=pool_size,
        max_overflow=0,
        pool_pre_ping=True,
        # An error's text goes into logs and the jobs table: what was recorded stays out of them.
        hide_parameters=True,
        connect_args={"options": _OPTIONS, **TCP_PATIENCE},
    )
    event.listen(engine, "connect", _read_any_time)
    return engine


class _AnyTimeLoader(TimestamptzLoader):
    """Reads every instant that PostgreSQL can hold: one beyond the calendar's ends is read as its end.

    Earlier releases stored such times of senders' clocks, and one of them must not keep a route from being read.
    """

    def load(self, data: Buffer) -> datetime:
        """Return the instant, or the end of the calendar that it lies beyond."""
        try:
            return super().load(data)
        except psycopg.DataError:
            text = bytes(data)
            end = datetime.min if text.endswith(b"BC") or text.startswith(b"-") else datetime.max
            return end.replace(tzinfo=UTC)


def _read_any_time(connection: Any, _: object) -> None:
    connection.adapters.register_loader("timestamptz", _AnyTimeLoader)


@contextmanager
def transaction(engine: Engine) -> Iterator[Session]:
    """Commit what the block did, or nothing of it."""
    with Session(engine, expire_on_commit=False) as session, session.begin():
        yield session


@contextmanager
def snapshot(engine: Engine) -> Iterator[Session]:
    """Read everything as of one moment, and write nothing."""
    with engine.connect() as connection:
        connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
        with Session(connection) as session:
            yield session
