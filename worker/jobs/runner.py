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
from worker.jobs.lease import LeaseKeeper, StoppingError, do_nothing
from worker.jobs.outages import outage_of, require_true_clock

log = structlog.get_logger()
Park = Callable[[Session, Lease, str], None]
_LONGEST_REASON = 2000
_LOOK_EVERY_S = 0.5
_LEFT_FOR = timedelta(seconds=2)


class HopelessError(Exception):
    """Another attempt would end the same: the job is given up at once."""


class LeftToNewerError(Exception):
    """A newer program has judged this already: an older one leaves it alone."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """A kind of job: its work, its limits, and what else has to be written when a job is given up.

    - `hard_limit_s`: after so long the process that does the job is ended, even if the work comes forward.
    - `longest_pause_s`: between two attempts.
    - `waits_for_ever`: an outage never gives the job up.
    - `states_times`: the job waits while this host's clock is wrong.
    - `counts_ended`: a worker that ended or hung while it held the job used up an attempt. False where the work runs in
      a process of its own, so that the worker's end says nothing of it.
    """

    run: Callable[[StepContext, Lease], None]
    hard_limit_s: float
    longest_pause_s: float = 300
    waits_for_ever: bool = False
    states_times: bool = False
    counts_ended: bool = True
    on_parked: Park = do_nothing


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
    try:
        return _take_once(context, step, job_id)
    except DBAPIError as error:
        if not error.connection_invalidated:
            raise
    # No connection is tried before it is used. By now the pool has thrown away this one and all that are as old: the
    # next one is new, or the database is away.
    return _take_once(context, step, job_id)


def _take_once(context: StepContext, step: Step, job_id: UUID) -> Lease | None:
    held_for = timedelta(seconds=context.settings.lease_s)
    with single_statement(context.engine) as session:
        return jobs.take_lease(session, job_id, lease=held_for, counts_ended=step.counts_ended)


def _run_held(context: StepContext, step: Step, lease: Lease) -> None:
    log_of_job = log.bind(job_id=str(lease.job_id), kind=lease.kind.value)
    try:
        if lease.attempts > context.settings.max_attempts:
            raise HopelessError("In every attempt the worker ended, hung, or took longer than it may.")
        if step.states_times:
            require_true_clock(context)
        step.run(context, lease)
    except LeaseLostError:
        log_of_job.warning("job.lease_lost")
    except StoppingError:
        _write(context, partial(jobs.give_back, lease=lease))
    except LeftToNewerError:
        _write(context, partial(jobs.give_back, lease=lease, delay=_LEFT_FOR))
    except HopelessError as error:
        _write(context, partial(_give_up, step=step, lease=lease, reason=str(error)))
    except Exception as error:
        outage = outage_of(error)
        if outage is None:
            log_of_job.error("job.failed", attempt=lease.attempts, exc_info=error)
        else:
            log_of_job.warning("job.outage", reason=outage)
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
        _give_up(session, step, lease, reason)
    else:
        jobs.put_back(session, lease, reason, longest_pause_s=step.longest_pause_s)


def _wait_out(session: Session, *, settings: WorkerSettings, step: Step, lease: Lease, reason: str) -> None:
    if step.waits_for_ever or lease.outage_s < settings.outage_patience_s:
        jobs.wait_out(session, lease, reason, longest_pause_s=step.longest_pause_s)
    else:
        _give_up(session, step, lease, reason, park=jobs.park_for_outage)


def _give_up(session: Session, step: Step, lease: Lease, reason: str, *, park: Park = jobs.park) -> None:
    # First, for it may lock the route; a lost lease undoes it.
    step.on_parked(session, lease, reason)
    park(session, lease, reason)
    event = "job.parked" if park is jobs.park else "job.waits"
    log.error(event, job_id=str(lease.job_id), kind=lease.kind.value, reason=reason)
