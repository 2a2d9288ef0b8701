"""How far a host's clock is from the database's, by which all hosts agree."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Engine, text
from sqlmodel import Session

from service.settings import CLOCK_TOLERANCE

_AGAIN_AFTER_S = 30.0
_LEAST_JUMP_S = 1.0
_NOW = text("SELECT clock_timestamp()")

Clock = Callable[[], datetime]


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
