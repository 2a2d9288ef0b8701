"""What is to be done."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from service.storage.tables.columns import Row, big_count, index_where, instant, long_text, word
from service.vocabulary.states import JobKind, JobState


class Job(Row, table=True):
    """Something to do for a subject.

    `outage_since` is when something outside was first seen to keep it from being done.
    """

    __table_args__ = (
        UniqueConstraint("kind", "subject_id"),
        index_where("ix_job_open", "state IN ('due', 'leased', 'waiting')", "due_at"),
    )
    id: UUID = Field(primary_key=True)
    project_id: UUID = Field(foreign_key="project.id")
    kind: JobKind = word(JobKind)
    subject_id: UUID
    state: JobState = word(JobState, check="ck_job_state")
    due_at: datetime = instant()
    leased_until: datetime | None = instant()
    hinted_at: datetime | None = instant()
    fence: int = big_count()
    attempts: int = 0
    outage_since: datetime | None = instant()
    last_error: str | None = long_text()
