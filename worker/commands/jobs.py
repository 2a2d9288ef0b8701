"""Look at the jobs that were given up, and give them another go."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from sqlmodel import Session

from service.actions.acceptance.submissions import replaced_by
from service.storage.jobs import given_up_jobs, make_due
from service.storage.routes import lock_route
from service.storage.submissions import find_submission
from service.storage.tables import Job
from service.vocabulary.states import JobKind, JobState


@dataclass(frozen=True, kw_only=True)
class GivenUp:
    """A job that was given up, why, and what speaks against another go; one that waits is tried again by itself."""

    kind: JobKind
    subject_id: UUID
    reason: str | None
    waits: bool
    refusal: str | None = None


def list_given_up(session: Session) -> Sequence[GivenUp]:
    """Return the jobs that were given up."""
    return [_told(job) for job in given_up_jobs(session)]


def requeue(session: Session, *, only: Collection[UUID] | None = None) -> Sequence[GivenUp]:
    """Make given-up jobs due, all or those of some subjects; one whose place was taken is refused and stays."""
    return [_requeue(session, job) for job in given_up_jobs(session) if only is None or job.subject_id in only]


def _requeue(session: Session, job: Job) -> GivenUp:
    # Before it is made due, which changes the row that is told.
    told = replace(_told(job), refusal=_refusal(session, job))
    if told.refusal is None:
        make_due(session, job.kind, project_id=job.project_id, subject_id=job.subject_id)
    return told


def _told(job: Job) -> GivenUp:
    waits = job.state is JobState.WAITING
    return GivenUp(kind=job.kind, subject_id=job.subject_id, reason=job.last_error, waits=waits)


def _refusal(session: Session, job: Job) -> str | None:
    if job.kind is not JobKind.PACKAGE:
        return None
    submission = find_submission(session, [job.project_id], job.subject_id)
    # Under the route's lock, as everything that changes it.
    return replaced_by(session, lock_route(session, [job.project_id], submission.route_id), submission)
