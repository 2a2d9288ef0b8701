"""Deem a package accepted whose time has run out with no word of the engineer's.

Started by: a `deem` job, due so many days after the package was issued, where its criteria say so.
Writes: the decision, its acceptances and billing's notices; nothing where a decision or a defect notice came before.
Leaves: the package's `countersign` job due.
"""

from sqlmodel import Session, select

from service.actions.acceptance.deeming import case_of, deem
from service.storage import jobs
from service.storage.head import record_deed
from service.storage.jobs import JobState, Lease
from service.storage.session import transaction
from service.storage.tables import Package
from worker.jobs.audit import deed_to
from worker.jobs.context import StepContext
from worker.jobs.runner import Step


def run(context: StepContext, lease: Lease) -> None:
    """Decide the package by the clock, or let the job go."""
    with transaction(context.engine) as session:
        _deem(session, lease, context)


STEP = Step(run=run, hard_limit_s=60, states_times=True, waits_for_ever=True)


def _deem(session: Session, lease: Lease, context: StepContext) -> None:
    case, now = case_of(session, _package(session, lease)), context.clock()
    deemed = deem(session, case, now=now)
    jobs.hold(session, lease)
    due_at = case.package.deemed_at
    if deemed is None and due_at is not None and now < due_at:
        # This host's clock is behind the database's.
        jobs.release(session, lease, JobState.DUE, delay=due_at - now)
        return
    jobs.release(session, lease, JobState.DONE)
    if deemed is not None:
        decision, notices = deemed
        deed = deed_to(case.package, action="package.deemed_accepted", content_sha256=decision.sha256, at=now)
        record_deed(session, lease.project_id, deed, notices=notices)


def _package(session: Session, lease: Lease) -> Package:
    return session.exec(
        select(Package).where(Package.project_id == lease.project_id, Package.id == lease.subject_id)
    ).one()
