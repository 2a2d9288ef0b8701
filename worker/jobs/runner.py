"""Run a job's step under its lease. Here, at the edge, a failure becomes a later attempt or a parked job."""

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from uuid import UUID

import structlog
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from service.settings import WorkerSettings
from service.storage import jobs
from service.storage.jobs import Lease, LeaseLostError
from service.storage.session import single_statement, transaction
from worker.jobs.context import StepContext
from worker.jobs.lease import LeaseKeeper, do_nothing
from worker.jobs.outages import OutageError, outage_of, require_true_clock
from worker.stopping import StoppingError

__all__ = ["HopelessError", "OutageError", "Step", "run_job"]

log = structlog.get_logger()
_LONGEST_REASON = 2000
_LOOK_EVERY_S = 0.5
_LEFT_FOR = timedelta(seconds=2)


class HopelessError(Exception):
    """Another attempt would end the same: the job is given up at once."""


class LeftToNewerError(Exception):
    """A newer program has judged this already: an older one leaves it alone."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """A job's work, and what else has to be said when it is given up.

    `hard_limit_s` ends the process that does it, however well it comes forward; `longest_pause_s` is between attempts.
    A step whose `waits_for_ever` is never given up for something outside that is away; one that `states_times` waits
    where this host's clock is wrong. One whose work cannot end its worker has no attempt `counts_ended` with that.
    """

    run: Callable[[StepContext, Lease], None]
    hard_limit_s: float
    longest_pause_s: float = 300
    waits_for_ever: bool = False
    states_times: bool = False
    counts_ended: bool = True
    on_parked: Callable[[Session, Lease, str], None] = do_nothing


def run_job(context: StepContext, step: Step, job_id: UUID) -> None:
    """Do a job if it is due; called twice at once, one of the two finds nothing to do."""
    lease = _take(context, step, job_id)
    if lease is None:
        return
    keeper = LeaseKeeper(engine=context.engine, lease=lease, lease_s=context.settings.lease_s, watch=context.watch)
    try:
        _run_held(replace(context, come_forward=keeper.come_forward), step, lease)
    finally:
        keeper.let_go()


def _take(context: StepContext, step: Step, job_id: UUID) -> Lease | None:
    """Take a job's lease. No connection is tried before it is used, so one that broke since then shows here."""
    try:
        return _take_once(context, step, job_id)
    except DBAPIError as error:
        if not error.connection_invalidated:
            raise
    # The pool has thrown away all that are as old: this is a new one, or the database is away.
    return _take_once(context, step, job_id)


def _take_once(context: StepContext, step: Step, job_id: UUID) -> Lease | None:
    held_for = timedelta(seconds=context.settings.lease_s)
    with single_statement(context.engine) as session:
        return jobs.take_lease(session, job_id, lease=held_for, counts_ended=step.counts_ended)


def _run_held(context: StepContext, step: Step, lease: Lease) -> None:
    try:
        if lease.attempts > context.settings.max_attempts:
            raise HopelessError("In every attempt the worker ended, hung, or took longer than it may.")
        if step.states_times:
            require_true_clock(context)
        step.run(context, lease)
    except LeaseLostError:
        log.warning("job.lease_lost", job_id=str(lease.job_id), kind=lease.kind.value)
    except StoppingError:
        _write(context, partial(jobs.give_back, lease=lease))
    except LeftToNewerError:
        _write(context, partial(jobs.give_back, lease=lease, delay=_LEFT_FOR))
    except HopelessError as error:
        _write(context, partial(_park, step=step, lease=lease, reason=str(error)))
    except Exception as error:
        outage = outage_of(error)
        if outage is None:
            log.error(
                "job.failed", job_id=str(lease.job_id), kind=lease.kind.value, attempt=lease.attempts, exc_info=error
            )
        else:
            log.warning("job.outage", job_id=str(lease.job_id), kind=lease.kind.value, reason=outage)
        reason = (outage or f"{type(error).__name__}: {error}")[:_LONGEST_REASON]
        retry = _put_back if outage is None else _wait_out
        _write(context, partial(retry, settings=context.settings, step=step, lease=lease, reason=reason))


def _write(context: StepContext, write: Callable[[Session], None]) -> None:
    """Write what became of a job, as soon as the database takes it and while the lease may still be ours."""
    give_up_at = time.monotonic() + context.settings.lease_s
    while True:
        try:
            with suppress(LeaseLostError), transaction(context.engine) as session:
                write(session)
            return
        except DBAPIError as error:
            if outage_of(error) is None or time.monotonic() > give_up_at:
                raise
            time.sleep(_LOOK_EVERY_S)


def _put_back(session: Session, *, settings: WorkerSettings, step: Step, lease: Lease, reason: str) -> None:
    if lease.attempts >= settings.max_attempts:
        _park(session, step=step, lease=lease, reason=reason)
    else:
        jobs.put_back(session, lease, reason, longest_pause_s=step.longest_pause_s)


def _wait_out(session: Session, *, settings: WorkerSettings, step: Step, lease: Lease, reason: str) -> None:
    if step.waits_for_ever or lease.outage_s < settings.outage_patience_s:
        jobs.wait_out(session, lease, reason, longest_pause_s=step.longest_pause_s)
        return
    # First, for it may lock the route; a lost lease undoes it.
    step.on_parked(session, lease, reason)
    jobs.park_for_outage(session, lease, reason)
    log.error("job.waits", job_id=str(lease.job_id), kind=lease.kind.value, reason=reason)


def _park(session: Session, *, step: Step, lease: Lease, reason: str) -> None:
    # First, for it may lock the route; a lost lease undoes it.
    step.on_parked(session, lease, reason)
    jobs.park(session, lease, reason)
    log.error("job.parked", job_id=str(lease.job_id), kind=lease.kind.value, reason=reason)
