"""What other criteria would make of a route's records: tried, and stored nowhere as a verdict."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import instant, long_text, of_route, one_of, word
from service.vocabulary.findings.trial import TrialState


class CriteriaTrial(SQLModel, table=True):
    """A trial of criteria on a route: how far it is, and what came of it.

    `progress` is what a run leaves to the next one. A trial that ended has lost its criteria and its result, to make
    room for newer ones.
    """

    __tablename__ = "criteria_trial"
    __table_args__ = (
        of_route(),
        Index(None, "project_id", "requested_at"),
        one_of("criteria_trial", "state", TrialState),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    route_id: UUID
    design_revision: int
    criteria_sha256: str
    criteria: str | None = long_text(nullable=True)
    state: TrialState = word(TrialState)
    problem: str | None = long_text(nullable=True)
    progress: str | None = long_text(nullable=True)
    result: str | None = long_text(nullable=True)
    requested_at: datetime = instant()
    finished_at: datetime | None = instant(nullable=True)
    token_id: UUID
