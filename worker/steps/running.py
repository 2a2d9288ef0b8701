"""Run a job's step under its lease. Here, at the edge, a failure becomes a later attempt or a parked job."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

import structlog
from sqlmodel import Session

from service.storage import jobs
from service.storage.jobs import Lease, LeaseLostError
from service.storage.session import transaction
from worker.steps.context import StepContext

log = structlog.get_logger()
_LONGEST_REASON = 2000


class HopelessError(Exception):
    """Another attempt would end the same: the job is given up at once."""


def _do_nothing(_: Session, __: Lease, ___: str) -> None:
    return None


@dataclass(frozen=True, kw_only=True)
class Step:
    """A job's work, and what else has to be said when it is given up."""

    run: Callable[[StepContext, Lease], None]
    lease_s: Callable[[StepContext], float]
    on_parked: Callable[[Session, Lease, str], None] = _do_nothing


def run_job(context: StepContext, step: Step, job_id: UUID) -> None:
    """Do a job if it is due; called twice at once, one of the two finds nothing to do."""
    with transaction(context.engine) as session:
        lease = jobs.take_lease(session, job_id, lease=timedelta(seconds=step.lease_s(context)))
    if lease is None:
        return
    try:
        if lease.attempts > context.settings.max_attempts:
            raise HopelessError("In every attempt the worker ended, or took longer than its lease.")
        step.run(context, lease)
    except LeaseLostError:
        log.warning("job.lease_lost", job_id=str(job_id), kind=lease.kind.value)
    except HopelessError as error:
        _park(context, step, lease, str(error))
    except Exception as error:
        log.error("job.failed", job_id=str(job_id), kind=lease.kind.value, attempt=lease.attempts, exc_info=error)
        _put_back(context, step, lease, f"{type(error).__name__}: {error}"[:_LONGEST_REASON])


def _put_back(context: StepContext, step: Step, lease: Lease, reason: str) -> None:
    if lease.attempts >= context.settings.max_attempts:
        _park(context, step, lease, reason)
        return
    with suppress(LeaseLostError), transaction(context.engine) as session:
        jobs.put_back(session, lease, reason)


def _park(context: StepContext, step: Step, lease: Lease, reason: str) -> None:
    with suppress(LeaseLostError), transaction(context.engine) as session:
        # First, for it may lock the route; a lost lease undoes it.
        step.on_parked(session, lease, reason)
        jobs.park(session, lease, reason)
        log.error("job.parked", job_id=str(lease.job_id), kind=lease.kind.value, reason=reason)
