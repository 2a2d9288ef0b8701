"""Engines, transactions, and the database's clock, by which all hosts agree.

A request or a step has one write transaction; nobody else calls commit. Timeouts keep a forgotten transaction
from holding a route's lock.
"""

import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any

import orjson
import psycopg
from psycopg.abc import Buffer
from psycopg.sql import SQL, Identifier
from psycopg.types.array import ListBinaryDumper
from psycopg.types.datetime import TimestamptzLoader
from sqlalchemy import Engine, create_engine, event, text
from sqlmodel import Session, SQLModel

from service.settings import CLOCK_TOLERANCE

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
# A process that is stopped in the middle of a transaction keeps its route locked for no longer than it would take to be
# found dead; nothing waits for anything but the database while a transaction is open.
_OPTIONS = "-c lock_timeout=10s -c statement_timeout=60s -c idle_in_transaction_session_timeout=20s -c timezone=UTC"


_AGAIN_AFTER_S = 30.0
_LEAST_JUMP_S = 1.0
_NOW = text("SELECT clock_timestamp()")

Clock = Callable[[], datetime]


def make_engine(url: str, *, pool_size: int = 5) -> Engine:
    """Return an engine whose sessions give up waiting instead of standing in each other's way.

    Each connection is tried before it is lent: a request should not fail because the database was restarted.
    """
    return _make_engine(url, pool_size=pool_size, pool_pre_ping=True)


def make_job_engine(url: str, *, pool_size: int) -> Engine:
    """Return an engine for those who try again anyway: a broken connection shows when it is used.

    One way to the database and back less each time that a connection is lent.
    """
    return _make_engine(url, pool_size=pool_size, pool_pre_ping=False)


def make_hint_engine(url: str, *, pool_size: int) -> Engine:
    """Return an engine for the relay, which waits for no disk: a hint that a crash forgets is given again."""
    return _make_engine(url, f"{_OPTIONS} -c synchronous_commit=off", pool_size=pool_size, pool_pre_ping=False)


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


@contextmanager
def single_statement(engine: Engine) -> Iterator[Session]:
    """Run the block's one statement as a transaction of its own, without asking for its begin and its end."""
    with engine.connect() as connection, Session(connection.execution_options(isolation_level="AUTOCOMMIT")) as session:
        yield session


def clock_offset(session: Session, clock: Clock) -> timedelta:
    """Return how far a clock is ahead of the database's, to within half the time that asking takes."""
    before = clock()
    theirs: datetime = session.execute(_NOW).scalar_one()
    after = clock()
    return before + (after - before) / 2 - theirs


def is_off(offset: timedelta) -> bool:
    """Tell whether a clock is too far from the database's to sign by, or to judge other clocks by."""
    return abs(offset) > CLOCK_TOLERANCE


@dataclass(frozen=True, kw_only=True)
class _Measured:
    offset: timedelta
    clock: datetime
    counter_s: float


class ClockWatch:
    """Knows the offset of a host's clock, asked anew after half a minute, or at once where the clock was set since."""

    def __init__(self, clock: Clock, *, counter: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._counter = clock, counter
        self._measured: _Measured | None = None
        self._asking = threading.Lock()

    def keep(self, engine: Engine) -> None:
        """Ask the database for its time if it is time to; while somebody asks, nobody else does."""
        measured = self._measured
        if measured is not None and not self._is_stale(measured):
            return
        # The first of all is waited for: until then nothing is known.
        if self._asking.acquire(blocking=measured is None):
            try:
                if self._measured is measured:
                    with Session(engine) as session:
                        self.measure(session)
            finally:
                self._asking.release()

    def measure(self, session: Session) -> timedelta:
        """Ask the database for its time, and return how far the host's clock is ahead."""
        offset = clock_offset(session, self._clock)
        self._measured = _Measured(offset=offset, clock=self._clock(), counter_s=self._counter())
        return offset

    def now(self) -> datetime:
        """Return the host's time while it agrees with the database's, else the database's."""
        offset = timedelta() if self._measured is None else self._measured.offset
        return self._clock() - offset if is_off(offset) else self._clock()

    def _is_stale(self, measured: _Measured) -> bool:
        passed_s = self._counter() - measured.counter_s
        jumped_s = (self._clock() - measured.clock).total_seconds() - passed_s
        return passed_s > _AGAIN_AFTER_S or abs(jumped_s) > _LEAST_JUMP_S


def _make_engine(url: str, options: str = _OPTIONS, **pool: Any) -> Engine:
    engine = create_engine(
        url,
        max_overflow=0,
        # An error's text goes into logs and the jobs table: what was recorded stays out of them.
        hide_parameters=True,
        connect_args={"options": options, **TCP_PATIENCE},
        json_deserializer=orjson.loads,
        json_serializer=orjson.dumps,
        **pool,
    )
    event.listen(engine, "connect", _adapt)
    return engine


@contextmanager
def listen(engine: Engine, channel: str) -> "Iterator[psycopg.Connection[Any]]":
    """Lend a connection beside the pool, in no transaction, that hears what is told on a channel."""
    # The library's own arguments: written as a URL, a name with a space in it is another name for psycopg.
    _, arguments = engine.dialect.create_connect_args(engine.url)
    with psycopg.connect(**{**TCP_PATIENCE, **arguments}, autocommit=True) as connection:
        connection.execute(SQL("LISTEN {}").format(Identifier(channel)))
        yield connection


def add_rows(session: Session, rows: Iterable[SQLModel]) -> None:
    """Add rows, for the statements that follow to find."""
    session.add_all(rows)
    session.flush()


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


def _adapt(connection: Any, _: object) -> None:
    connection.adapters.register_loader("timestamptz", _AnyTimeLoader)
    # Arrays of long texts: escaping them as text takes ten times as long as the statement.
    connection.adapters.register_dumper(list, ListBinaryDumper)
