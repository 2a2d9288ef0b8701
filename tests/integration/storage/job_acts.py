"""What tests do with jobs, each in a transaction of its own."""

from datetime import timedelta
from uuid import UUID

from sqlalchemy import Engine, text
from sqlmodel import col, select

from service.storage import jobs
from service.storage.jobs import Lease
from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobKind

LEASE = timedelta(seconds=60)
NEVER_AGAIN = timedelta(hours=1)


def make_due(engine: Engine, project_id: UUID, subject: UUID, *, delay_s: float = 0) -> None:
    with transaction(engine) as session:
        jobs.make_due(
            session, JobKind.JUDGE, project_id=project_id, subject_id=subject, delay=timedelta(seconds=delay_s)
        )


def take(engine: Engine, subject: UUID, *, lease: timedelta = LEASE) -> Lease | None:
    with transaction(engine) as session:
        return jobs.take_lease(session, job_of(engine, subject).id, lease=lease)


def job_of(engine: Engine, subject: UUID) -> Job:
    with transaction(engine) as session:
        return session.exec(select(Job).where(Job.subject_id == subject)).one()


def claim(engine: Engine, *, again_after: timedelta) -> list[tuple[UUID, JobKind]]:
    with transaction(engine) as session:
        return list(jobs.claim_hints(session, again_after=again_after))


def seconds_to_next(engine: Engine, again_after: timedelta) -> float | None:
    with transaction(engine) as session:
        return jobs.seconds_to_next(session, again_after=again_after)


def seconds_until_due(engine: Engine, subject: UUID) -> float:
    statement = text("SELECT extract(epoch FROM due_at - now()) FROM job WHERE subject_id = :subject")
    with transaction(engine) as session:
        return float(session.connection().execute(statement, {"subject": subject}).scalar_one())


def let_time_pass(engine: Engine, subject: UUID) -> None:
    with transaction(engine) as session:
        job = session.exec(select(Job).where(col(Job.subject_id) == subject)).one()
        job.due_at -= timedelta(hours=1)
