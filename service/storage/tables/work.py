"""What is to be done."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import big_count, instant, long_text, one_of, word
from service.vocabulary.states import JobKind, JobState


class Job(SQLModel, table=True):
    """Something to do for a subject.

    `outage_since` is when something outside was first seen to keep it from being done.
    """

    __table_args__ = (
        UniqueConstraint("kind", "subject_id"),
        one_of("job", "state", JobState),
        Index("ix_job_open", "due_at", postgresql_where=text("state IN ('due', 'leased', 'waiting')")),
    )
    id: UUID = Field(primary_key=True)
    project_id: UUID = Field(foreign_key="project.id")
    kind: JobKind = word(JobKind)
    subject_id: UUID
    state: JobState = word(JobState)
    due_at: datetime = instant()
    leased_until: datetime | None = instant(nullable=True)
    hinted_at: datetime | None = instant(nullable=True)
    fence: int = big_count()
    attempts: int = 0
    outage_since: datetime | None = instant(nullable=True)
    last_error: str | None = long_text(nullable=True)
