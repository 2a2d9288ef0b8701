"""Look at the jobs that were given up, and give them another go."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlmodel import Session

from service.actions.acceptance.submissions import replaced_by
from service.storage.jobs import given_up_jobs, make_due
from service.storage.routes import lock_route
from service.storage.session import make_engine, transaction
from service.storage.submissions import find_submission
from service.storage.tables import Job
from service.vocabulary.states import JobKind, JobState


@dataclass(frozen=True, kw_only=True)
class GivenUp:
    """A job that was given up, why, and what speaks against another go; one that waits is tried again by itself."""

    kind: str
    subject_id: UUID
    reason: str | None
    waits: bool
    refusal: str | None = None


def list_given_up(database_url: str) -> Sequence[GivenUp]:
    """Return the jobs that were given up."""
    return _with_session(database_url, again=False, only=None)


def requeue(database_url: str, *, only: Collection[UUID] | None = None) -> Sequence[GivenUp]:
    """Make given-up jobs due, all or those of some subjects; one whose place was taken is refused and stays."""
    return _with_session(database_url, again=True, only=only)


def _with_session(database_url: str, *, again: bool, only: Collection[UUID] | None) -> Sequence[GivenUp]:
    engine = make_engine(database_url, pool_size=1)
    try:
        with transaction(engine) as session:
            return list(_go_through(session, again=again, only=only))
    finally:
        engine.dispose()


def _go_through(session: Session, *, again: bool, only: Collection[UUID] | None) -> Iterator[GivenUp]:
    for job in given_up_jobs(session):
        if only is not None and job.subject_id not in only:
            continue
        # Before it is made due, which changes the row that is told.
        kind, reason, waits = job.kind, job.last_error, job.state is JobState.WAITING
        refusal = _refusal(session, job) if again else None
        if again and refusal is None:
            make_due(session, kind, project_id=job.project_id, subject_id=job.subject_id)
        yield GivenUp(kind=kind.value, subject_id=job.subject_id, reason=reason, waits=waits, refusal=refusal)


def _refusal(session: Session, job: Job) -> str | None:
    if job.kind is not JobKind.PACKAGE:
        return None
    submission = find_submission(session, [job.project_id], job.subject_id)
    # Under the route's lock, as everything that changes it.
    return replaced_by(session, lock_route(session, [job.project_id], submission.route_id), submission)
