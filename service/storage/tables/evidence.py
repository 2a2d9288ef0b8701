"""What was recorded, and what was judged of it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKeyConstraint, Index, text
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import big_count, engine_version, instant, json_value, long_text, of_route, word
from service.vocabulary.evidence import EvidenceType

# In `record_fibre`: the record is about a whole site, and so about every fibre of the route.
WHOLE_SITE = 0


class Record(SQLModel, table=True):
    """What a crew sent: never changed."""

    __table_args__ = (
        of_route(),
        Index("ix_record_arrival", "project_id", "route_id", "route_version", "id"),
        Index("ix_record_lid", "project_id", "lid_site", postgresql_where=text("lid_site IS NOT NULL")),
        Index(
            "ix_record_splicer",
            "project_id",
            "splicer_serial",
            "kind",
            postgresql_where=text("splicer_serial IS NOT NULL"),
        ),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    route_id: UUID
    kind: str
    # The closure whose lid it is about: such a record reaches every route through it, those too that come later.
    lid_site: str | None
    # The splicer that worked or was calibrated: its calibrations reach every route it worked on.
    splicer_serial: str | None
    made_at: datetime = instant()
    sent_at: datetime = instant()
    received_at: datetime = instant()
    # The version that its arrival gave the route: the order of arrival.
    route_version: int = big_count()
    clock_is_flagged: bool
    sha256: str
    body: str = long_text()
    token_id: UUID


class RecordFibre(SQLModel, table=True):
    """A fibre of a route that a record is about, or the whole route (0)."""

    __tablename__ = "record_fibre"
    # No reference to the record: it would nearly triple the time of adding a posting's links (3 to 8 ms for 200), which
    # are made of records that the same transaction adds or reads; and nobody may remove a record.
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    fibre: int = Field(primary_key=True)
    record_id: UUID = Field(primary_key=True)


class RecordEnd(SQLModel, table=True):
    """A record that no longer counts: withdrawn, or replaced by another, with the reason."""

    __tablename__ = "record_end"
    __table_args__ = (ForeignKeyConstraint(["project_id", "record_id"], ["record.project_id", "record.id"]),)
    project_id: UUID = Field(primary_key=True)
    record_id: UUID = Field(primary_key=True)
    replaced_by: UUID | None
    reason: str = long_text()
    ended_at: datetime = instant()
    token_id: UUID


class EvidenceFile(SQLModel, table=True):
    """A file that was sent in to a project; its bytes are a blob, which several projects may share."""

    __tablename__ = "evidence_file"
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sha256: str = Field(primary_key=True)
    size_bytes: int = big_count()
    media_type: EvidenceType = word(EvidenceType)
    received_at: datetime = instant()
    token_id: UUID


class Fibre(SQLModel, table=True):
    """A route's fibre and what was judged of it; it waits while judged is below evidence."""

    __table_args__ = (
        of_route(),
        Index("ix_fibre_waiting", "project_id", "route_id", postgresql_where=text("judged_version < evidence_version")),
        Index("ix_fibre_work", "project_id", "route_id", postgresql_where=text("work IS NOT NULL")),
        Index("ix_fibre_problem", "project_id", "route_id", postgresql_where=text("problem IS NOT NULL")),
    )
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    number: int = Field(primary_key=True)
    evidence_version: int = big_count()
    judged_version: int = big_count()
    engine_version: int = engine_version()
    is_urgent: bool = False
    digest: str | None = None
    content: str | None = long_text(nullable=True)
    work: str | None = long_text(nullable=True)
    counts: dict[str, Any] | None = json_value(nullable=True)
    missing: list[Any] | None = json_value(nullable=True)
    # What settling needs beside the document.
    figures: dict[str, Any] | None = json_value(nullable=True)
    # Why it could not be judged; it is not tried again until something touches it.
    problem: str | None = long_text(nullable=True)


class StandingVerdict(SQLModel, table=True):
    """The verdict a route has now, and the route version it was settled for."""

    __tablename__ = "standing_verdict"
    __table_args__ = (of_route(),)
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    digest: str
    document: str = long_text()
    engine_version: int = engine_version()
    missing: list[Any] = json_value()
    settled_at: datetime = instant()
