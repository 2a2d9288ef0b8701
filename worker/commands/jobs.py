"""Look at the jobs that were given up, and give them another go."""

from collections.abc import Sequence

from sqlmodel import col, select

from service.storage.jobs import JobKind, JobState, make_due
from service.storage.session import make_engine, transaction
from service.storage.tables import Job


def parked_jobs(database_url: str, *, again: bool) -> Sequence[Job]:
    """Return the parked jobs as they were found, and make them due if they are to be tried again."""
    engine = make_engine(database_url, pool_size=1)
    try:
        with transaction(engine) as session:
            found = session.exec(select(Job).where(Job.state == JobState.PARKED.value).order_by(col(Job.due_at))).all()
            session.expunge_all()
            for job in found if again else ():
                make_due(session, JobKind(job.kind), project_id=job.project_id, subject_id=job.subject_id)
            return found
    finally:
        engine.dispose()
