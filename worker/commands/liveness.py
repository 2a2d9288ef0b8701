"""Watch whether a part takes the work that is due, and end it where it does not for no reason that can be named.

A heartbeat file says it to whoever supervises: `ready` while the work that is due is taken, else what the part waits
for. Where it grows old, or the part ends itself, another process has to take its place.
"""

import os
import threading
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import structlog
from celery.worker import state
from redis import Redis, RedisError
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from service.storage.jobs import seconds_untaken
from service.storage.session import clock_offset, is_off, transaction
from service.vocabulary.states import JobKind
from worker.jobs.lease import do_nothing, stop_soon
from worker.jobs.outages import offset_text

_LOOK_EVERY_S = 5.0
# A relay that lives hints again and again; one that does not is no fault of a worker's.
_ON_ITS_WAY, _HINTED_WITHIN = timedelta(seconds=5), timedelta(seconds=30)
# A hint takes milliseconds to a worker with a free place.
TAKEN_WITHIN_S = 20.0
_ENDED_WITHIN_S = 5.0
# sysexits.h: internal software error.
EXIT_DEAF = 70

READY = "ready"

log = structlog.get_logger()


Beat = Callable[[str], None]


def beat_into(file: Path | None) -> Beat:
    """Return what writes a heartbeat file, where there is one."""

    def beat(says: str) -> None:
        if file is not None:
            file.write_text(f"{says}\n")

    return beat


def watch_rounds(moved_at: Callable[[], float], *, end: Callable[[], None], stuck_after_s: float) -> None:
    """End a relay whose loop stands still: a failure that it could name would have moved it on."""

    def watch() -> None:
        while time.monotonic() - moved_at() < stuck_after_s:
            time.sleep(stuck_after_s / 12)
        log.critical("relay.stuck", seconds=round(time.monotonic() - moved_at()))
        end()

    threading.Thread(target=watch, name="watch-rounds", daemon=True).start()


@dataclass(kw_only=True)
class WorkerWatch:
    """Looks whether what is due is taken, from the worker's main process.

    `slowest_s` is the longest that a job may take: what runs longer holds no place any more. `also` is done with each
    look, as far as the database answers.
    """

    engine: Engine
    redis: Redis
    kinds: Collection[JobKind]
    places: int
    slowest_s: float
    beat: Beat
    end: Callable[[], None]
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    stopwatch: Callable[[], float] = time.monotonic
    taken_within_s: float = TAKEN_WITHIN_S
    also: Callable[[Session], object] = do_nothing
    _begun: int = field(default=0, init=False)
    _begun_at: float = field(init=False)

    def __post_init__(self) -> None:
        self._begun_at = self.stopwatch()

    def start(self) -> None:
        """Look every few seconds, in a thread."""
        threading.Thread(target=self._run, name="watch-worker", daemon=True).start()

    def look(self) -> None:
        """Look once: beat, say what is waited for, or end."""
        self._count_begun()
        try:
            with transaction(self.engine) as session:
                untaken_s = seconds_untaken(
                    session, kinds=self.kinds, hinted_for=_ON_ITS_WAY, hinted_within=_HINTED_WITHIN
                )
                offset = clock_offset(session, self.clock)
                self.also(session)
            if is_off(offset):
                self._wait(f"this host's clock is {offset_text(offset)} the database's")
                return
            if untaken_s < self.taken_within_s or self._is_busy():
                self.beat(READY)
                return
            self.redis.ping()
        except DBAPIError as error:
            self._wait(f"the database is away ({type(error.orig).__name__})")
            return
        except (RedisError, OSError) as error:
            self._wait(f"the queue is away ({type(error).__name__})")
            return
        log.warning("worker.due_work_untaken", seconds=round(untaken_s))
        nothing_begun_s = self.stopwatch() - self._begun_at
        if nothing_begun_s > self.taken_within_s:
            log.critical("worker.deaf", seconds=round(nothing_begun_s))
            self.end()

    def _run(self) -> None:
        while True:
            time.sleep(_LOOK_EVERY_S)
            try:
                self.look()
            # Whatever it is: a worker that nobody watches any more is none to rely on.
            except Exception as error:
                log.critical("worker.not_watched", exc_info=error)
                self.end()

    def _wait(self, reason: str) -> None:
        # What was not begun meanwhile is no sign of deafness once that is over.
        self._begun_at = self.stopwatch()
        log.warning("worker.waits", reason=reason)
        self.beat(f"waits: {reason}")

    def _count_begun(self) -> None:
        [begun] = state.all_total_count
        if begun != self._begun:
            self._begun, self._begun_at = begun, self.stopwatch()

    def _is_busy(self) -> bool:
        now = time.time()
        started = [request.time_start for request in tuple(state.active_requests) if request.time_start is not None]
        running: int = sum(now - at < self.slowest_s for at in started)
        return running >= self.places


def end_process() -> None:
    """End this process for its supervisor to start another; what it does is given back first, if it can be."""
    stop_soon()
    give_up_at = time.monotonic() + _ENDED_WITHIN_S
    while state.active_requests and time.monotonic() < give_up_at:
        time.sleep(0.1)
    # Not by an exception or a signal: whatever hangs would take it. Its children end with the pipe that they read from.
    os._exit(EXIT_DEAF)
