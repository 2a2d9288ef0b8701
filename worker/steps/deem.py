"""Deem a package accepted whose time has run out with no word of the engineer's.

Started by: a `deem` job, due so many days after the package was issued, where its criteria say so.
Writes: the decision, its acceptances and billing's notices; nothing where a decision or a defect notice came before.
Leaves: the package's `countersign` job due.
"""

from sqlmodel import Session

from service.actions.acceptance.decisions import lock_context
from service.actions.acceptance.deeming import deem
from service.storage import jobs
from service.storage.jobs import Lease
from service.storage.session import transaction
from service.vocabulary.states import JobState
from worker.jobs.context import StepContext, audit_package
from worker.jobs.runner import Step


def run(context: StepContext, lease: Lease) -> None:
    """Decide the package by the clock, or let the job go."""
    with transaction(context.engine) as session:
        _deem(session, lease, context)


STEP = Step(run=run, hard_limit_s=60, states_times=True, waits_for_ever=True)


def _deem(session: Session, lease: Lease, context: StepContext) -> None:
    decided_on, now = lock_context(session, [lease.project_id], lease.subject_id), context.clock()
    package = decided_on.package
    deemed = deem(session, decided_on, now=now)
    if deemed is None and package.deemed_at is not None and now < package.deemed_at:
        # This host's clock is behind the database's.
        jobs.release(session, lease, JobState.DUE, delay=package.deemed_at - now)
        return
    jobs.release(session, lease, JobState.DONE)
    if deemed is not None:
        decision, notices = deemed
        audit_package(
            session, package, "package.deemed_accepted", content_sha256=decision.sha256, at=now, notices=notices
        )
