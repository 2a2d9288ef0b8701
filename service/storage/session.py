"""Engines and transactions.

A request or a step has one write transaction; nobody else calls commit. Timeouts keep a forgotten transaction
from holding a route's lock.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import MappingProxyType
from typing import Any

from sqlalchemy import Engine, create_engine
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
    return create_engine(
        url, pool_size=pool_size, max_overflow=0, pool_pre_ping=True, connect_args={"options": _OPTIONS, **TCP_PATIENCE}
    )


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
