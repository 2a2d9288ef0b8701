"""The relay: hints at jobs that are due.

Started by: the database's word that something is due, and the time.
Writes: when each job was hinted at. Leaves: the hints, in Redis.

It listens for the database's word that something is due, and sweeps for what became due by time or was never hinted. A
hint that is lost, or that Redis forgets, is given again; the jobs table alone says what is done. Two relays may run.
"""

import threading
import time
from collections.abc import Callable, Sequence
from datetime import timedelta
from uuid import UUID

import psycopg
import structlog
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from service.storage.jobs import DUE_CHANNEL, claim_hints, forget_hints, seconds_to_next
from service.storage.session import listen, single_statement
from service.vocabulary.states import JobKind
from worker.jobs.lease import do_nothing

# A sweep without any word from the database: what a lost connection may have missed. Also how late a stop is seen.
_LONGEST_WAIT_S = 1.0
_AFTER_FAILURE_S = 1.0

log = structlog.get_logger()
Hint = Callable[[JobKind, UUID], None]
AskRoom = Callable[[frozenset[JobKind]], None]


class HintNotTakenError(Exception):
    """The queue did not take a hint; it is given again."""


class QueueFullError(HintNotTakenError):
    """More hints wait than workers are likely to want: none is added, and other queues go on."""


class Relay:
    """Passes what is due to queues until it is told to stop.

    `groups` are the kinds of job that share a queue: one queue that is full keeps no other waiting. `ask_room` raises
    where a queue is away or full. `on_round` hears after each round what came of it: `ready`, or what is waited for;
    `moved_at` is when the loop last came round.
    """

    def __init__(
        self,
        engine: Engine,
        hint: Hint,
        *,
        hint_again_s: float,
        groups: Sequence[frozenset[JobKind]] = (frozenset(JobKind),),
        ask_room: AskRoom = do_nothing,
        on_round: Callable[[str], None] = do_nothing,
    ) -> None:
        self._engine, self._hint, self._groups = engine, hint, groups
        self._again_after = timedelta(seconds=hint_again_s)
        self._ask_room, self._on_round = ask_room, on_round
        self.moved_at = time.monotonic()

    def run(self, stop: threading.Event) -> None:
        """Listen and sweep; without the database or the queue, try again in a moment."""
        while not stop.is_set():
            self.moved_at = time.monotonic()
            try:
                self._listen(stop)
            except (psycopg.OperationalError, DBAPIError) as error:
                log.warning("relay.database_away", error=type(error).__name__)
                self._on_round(f"waits: the database is away ({type(error).__name__})")
                stop.wait(_AFTER_FAILURE_S)

    def sweep(self) -> int:
        """Hint at everything that is due and return how many hints were taken."""
        return self._give_hints(self._groups)

    def _has_room(self, kinds: frozenset[JobKind]) -> bool:
        try:
            self._ask_room(kinds)
        except QueueFullError as error:
            log.warning("relay.queue_full", said=str(error))
            return False
        return True

    def _give_hints(self, groups: Sequence[frozenset[JobKind]]) -> int:
        with single_statement(self._engine) as session:
            hints = claim_hints(session, kinds=frozenset[JobKind]().union(*groups), again_after=self._again_after)
        # After commit: a queue that hangs would otherwise keep the jobs' rows locked, and postings waiting for them.
        for index, (job_id, kind) in enumerate(hints):
            try:
                self._hint(kind, job_id)
            except HintNotTakenError:
                with single_statement(self._engine) as session:
                    forget_hints(session, [job_id for job_id, _ in hints[index:]])
                raise
        return len(hints)

    def _listen(self, stop: threading.Event) -> None:
        with listen(self._engine, DUE_CHANNEL) as connection:
            while not stop.is_set():
                self.moved_at = time.monotonic()
                wait_s = self._sweep_or_wait(stop)
                for _ in connection.notifies(timeout=wait_s, stop_after=1):
                    pass

    def _sweep_or_wait(self, stop: threading.Event) -> float:
        try:
            with_room = [kinds for kinds in self._groups if self._has_room(kinds)]
            self._give_hints(with_room)
        except HintNotTakenError as error:
            log.warning("relay.queue_away", error=str(error))
            self._on_round(f"waits: the queue is away ({error})")
            stop.wait(_AFTER_FAILURE_S)
            return 0.0
        self._on_round("ready")
        with single_statement(self._engine) as session:
            next_s = seconds_to_next(session, again_after=self._again_after)
        if next_s is None or len(with_room) < len(self._groups):
            # What waits for room is due already.
            return _LONGEST_WAIT_S
        return min(max(next_s, 0.005), _LONGEST_WAIT_S)
