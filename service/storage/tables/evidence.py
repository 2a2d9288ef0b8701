"""What was recorded, and what was judged of it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Index
from sqlmodel import Field

from service.storage.tables.columns import (
    Row,
    big_count,
    engine_version,
    index_where,
    instant,
    json_value,
    long_text,
    packed_text,
    reference,
    word,
)
from service.vocabulary.evidence import EvidenceType

# In `record_fibre`: the record is about a whole site, and so about every fibre of the route.
WHOLE_SITE = 0


class Record(Row, table=True):
    """What a crew sent: never changed."""

    __table_args__ = (
        reference("route"),
        Index("ix_record_arrival", "project_id", "route_id", "route_version", "id"),
        index_where("ix_record_lid", "lid_site IS NOT NULL", "project_id", "lid_site"),
        index_where("ix_record_splice", "splice_site IS NOT NULL", "project_id", "splice_site"),
        index_where("ix_record_laid", "laid_section IS NOT NULL", "project_id", "laid_section"),
        index_where("ix_record_splicer", "splicer_serial IS NOT NULL", "project_id", "splicer_serial", "kind"),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    route_id: UUID
    kind: str
    # The closure whose lid it is about: such a record reaches every route through it, those too that come later.
    lid_site: str | None
    # Where it says that fibres were spliced: after a lid was recorded there, the closure was open for it.
    splice_site: str | None
    # The section whose cable it says was laid: that of every route that passes it.
    laid_section: str | None
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


class RecordFibre(Row, table=True):
    """A fibre of a route that a record is about, or the whole route (0)."""

    # No reference to the record: it would nearly triple the time of adding a posting's links (3 to 8 ms for 200), which
    # are made of records that the same transaction adds or reads; and nobody may remove a record.
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    fibre: int = Field(primary_key=True)
    record_id: UUID = Field(primary_key=True)


class RecordEnd(Row, table=True):
    """A record that no longer counts: withdrawn, or replaced by another, with the reason."""

    __table_args__ = (reference("record"),)
    project_id: UUID = Field(primary_key=True)
    record_id: UUID = Field(primary_key=True)
    replaced_by: UUID | None
    reason: str = long_text()
    ended_at: datetime = instant()
    token_id: UUID


class RecordAnnulment(Row, table=True):
    """The engineer's word that what an ended record says was never done: it voids nothing any more."""

    __table_args__ = (reference("record"),)
    project_id: UUID = Field(primary_key=True)
    record_id: UUID = Field(primary_key=True)
    reason: str = long_text()
    annulled_at: datetime = instant()
    token_id: UUID


class EvidenceFile(Row, table=True):
    """A file that was sent in to a project; its bytes are a blob, which several projects may share."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sha256: str = Field(primary_key=True)
    size_bytes: int = big_count()
    media_type: EvidenceType = word(EvidenceType)
    received_at: datetime = instant()
    token_id: UUID


class Fibre(Row, table=True):
    """A route's fibre and what was judged of it; it waits while judged is below evidence.

    `engine_version` is the engine that judged it, or where it waits for a newer one, that one.
    """

    __table_args__ = (
        reference("route"),
        index_where("ix_fibre_waiting", "judged_version < evidence_version", "project_id", "route_id"),
        index_where("ix_fibre_work", "work IS NOT NULL", "project_id", "route_id"),
        index_where("ix_fibre_problem", "problem IS NOT NULL", "project_id", "route_id"),
    )
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    number: int = Field(primary_key=True)
    evidence_version: int = big_count()
    judged_version: int = big_count()
    engine_version: int = engine_version()
    is_urgent: bool = False
    digest: str | None = None
    content: str | None = packed_text()
    work: str | None = long_text()
    counts: dict[str, Any] | None = json_value()
    missing: list[Any] | None = json_value()
    # What settling needs beside the document.
    figures: dict[str, Any] | None = json_value()
    # Why it could not be judged; it is not tried again until something touches it.
    problem: str | None = long_text()


class FoundSpots(Row, table=True):
    """Where a route's joints lie by what its fibres show, of one design; by these spots its fibres are judged."""

    __table_args__ = (reference("route"),)
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    design_sha256: str
    sha256: str
    document: str = long_text()


class StandingVerdict(Row, table=True):
    """The verdict a route has now, and the route version it was settled for."""

    __table_args__ = (reference("route"),)
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    digest: str
    document: str = long_text()
    engine_version: int = engine_version()
    missing: list[Any] = json_value()
    settled_at: datetime = instant()
