"""Keep a lease while the work goes forward and the worker is not told to stop, and only then.

A step says where it has come forward. That renews its lease and puts off the watch, which ends a process that hangs:
its place is free again, and where it hung stands in the log. A timer would keep a hung process's lease for ever.
"""

import faulthandler
import mmap
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta

import structlog
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from service.storage import jobs
from service.storage.jobs import Lease
from service.storage.session import single_statement

# One byte that every process forked after this import shares: an orderly stop reaches the processes that hold jobs. No
# lock, so that a signal's handler may write.
_STOPPING = mmap.mmap(-1, 1)
# By its number: Celery puts something else in the place of `sys.stderr`.
_STANDARD_ERROR = 2

log = structlog.get_logger()
Watch = Callable[[float | None], None]


class StoppingError(Exception):
    """The worker is told to stop: the job is given back, for another to take at once."""


def stop_soon() -> None:
    """Tell every process of this worker to give its job back, each at its next step forward."""
    _STOPPING[0] = 1


def watch_process(seconds: float | None) -> None:
    """End this process after so many seconds, saying where it stood; `None` calls the watch off.

    By the interpreter's own watchdog, a thread that needs nothing of it: a loop in a library is ended too.
    """
    if seconds is None:
        faulthandler.cancel_dump_traceback_later()
    else:
        faulthandler.dump_traceback_later(seconds, exit=True, file=_STANDARD_ERROR)


def do_nothing(*_: object) -> None:
    """Do nothing, where nobody has to be told; the watch of a process that runs more than one job."""


@dataclass(kw_only=True)
class LeaseKeeper:
    """Renews one job's lease as its step comes forward."""

    engine: Engine
    lease: Lease
    lease_s: float
    watch: Watch
    _renewed_at: float = field(default_factory=time.monotonic, init=False)

    def __post_init__(self) -> None:
        self.watch(self.lease_s)

    def come_forward(self) -> None:
        """Say that the work came forward. Raises where the lease is lost, or the worker is told to stop."""
        if _STOPPING[0]:
            raise StoppingError
        self.watch(self.lease_s)
        since_s = time.monotonic() - self._renewed_at
        if since_s < self.lease_s / 5:
            return
        try:
            with single_statement(self.engine) as session:
                jobs.renew(session, self.lease, until=timedelta(seconds=self.lease_s))
        except DBAPIError as error:
            # The lease may outlive a database that restarts; what is done so far need not be done again.
            if since_s > self.lease_s:
                raise
            log.warning("lease.not_renewed", job_id=str(self.lease.job_id), error=type(error).__name__)
            return
        self._renewed_at = time.monotonic()

    def let_go(self) -> None:
        """Call the watch off."""
        self.watch(None)
