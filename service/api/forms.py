"""The forms of answers, and the small forms of requests that no action owns."""

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import BaseModel, Field

from service.storage.blobs import FilesState
from service.vocabulary import quantities as q
from service.vocabulary.criteria.report import CriteriaReport
from service.vocabulary.findings.finding import FindingDocument, OutcomeCounts, WorkDocument
from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.sides import PartySide
from service.vocabulary.words import Standing, TokenKind

# What a number that counts rows can be: the database's integers end there.
RowNumber = Annotated[int, Field(ge=1, le=2**31 - 1)]


class ProblemError(BaseModel):
    """One thing wrong, at an RFC 6901 pointer."""

    pointer: str
    detail: str


class Problem(BaseModel):
    """A refusal (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[ProblemError] | None = None


class ProjectAnswer(BaseModel):
    """A project."""

    id: UUID
    code: str
    name: str
    owner: str
    contractor: str


class TokenForm(q.Value):
    """A token to issue."""

    kind: TokenKind
    projects: Annotated[tuple[UUID, ...], Field(max_length=100)] = ()
    holder: q.Identifier | None = None
    expires_at: q.EndInstant | None = None


class TokenAnswer(BaseModel):
    """A token; its text is shown this once."""

    id: UUID
    kind: TokenKind
    token: str
    expires_at: datetime | None


class PersonAnswer(BaseModel):
    """A person's name and role, and whose person it is."""

    id: str
    name: str
    role: str
    side: PartySide


class CriteriaAnswer(BaseModel):
    """A criteria version as it is kept: canonical, its quantities as decimal strings."""

    version: int
    sha256: str
    criteria: dict[str, Any]
    reports: list[CriteriaReport]


class CriteriaVersionForm(q.Value):
    """A criteria version, by its number."""

    version: Annotated[RowNumber, Field(strict=True)]


class RouteAnswer(BaseModel):
    """A route and what binds it."""

    id: UUID
    project_id: UUID
    code: str
    version: int
    design_revision: int
    criteria_version: int | None
    proposed_criteria_version: int | None


class BoundRouteAnswer(RouteAnswer):
    """A route, and what is the matter with the criteria that were named for it."""

    reports: list[CriteriaReport]


class DesignAnswer(BaseModel):
    """A route's current design as it is kept: canonical, its quantities as decimal strings."""

    revision: int
    sha256: str
    design: dict[str, Any]


class RecordBatch(q.Value):
    """Records as a field app sends them: each is stored or refused by itself."""

    sent_at: q.ClockReading
    records: Annotated[list[Any], Field(min_length=1)]


class RecordReceipt(BaseModel):
    """What became of one record."""

    id: str | None
    outcome: str
    status: int
    problem: Problem | None = None


class BatchAnswer(BaseModel):
    """What became of each record, in request order, and how many were not taken."""

    failed: int
    results: list[RecordReceipt]


class WithdrawalAnswer(BaseModel):
    """How many records ended with this request; those that had ended before are not counted."""

    withdrawn: int


class StoredRecord(BaseModel):
    """A record as it is kept, when it came, and whether it still counts."""

    id: UUID
    received_at: datetime
    sent_at: datetime
    clock_is_flagged: bool
    sha256: str
    is_ended: bool
    end_reason: str | None
    replaced_by: UUID | None
    record: dict[str, Any]


class RecordPage(BaseModel):
    """Records in order of arrival."""

    items: list[StoredRecord]
    next: str | None


class SegmentStatus(BaseModel):
    """Where a segment is on its way from work to money."""

    id: str
    name: str
    billing_item: str
    status: Standing
    counts: OutcomeCounts
    submission_id: UUID | None
    package_id: UUID | None
    acceptance_number: int | None
    is_released: bool
    has_changed_since: bool


class MissingEvidence(BaseModel):
    """Undetermined required findings of one criterion in one segment, by reason."""

    segment: str
    criterion: str
    reason: str
    findings: int


class RouteStatus(BaseModel):
    """A route's acceptance status."""

    route_id: UUID
    code: str
    version: int
    design_revision: int
    criteria_version: int | None
    proposed_criteria_version: int | None
    is_judged: bool
    fibres_waiting: int
    judging_problem: str | None
    criteria_reports: list[CriteriaReport]
    verdict_digest: str | None
    missing: list[MissingEvidence]
    segments: list[SegmentStatus]


class ProjectStatus(BaseModel):
    """The acceptance status of every route of a project."""

    routes: list[RouteStatus]


class FindingPage(BaseModel):
    """Findings in order of fibre, those about several fibres together first."""

    items: list[FindingDocument]
    next: str | None


class SuspicionList(BaseModel):
    """What looks unlikely in honest work; none of it decides anything."""

    items: list[SuspicionDocument]


class WorkList(BaseModel):
    """What a crew has to do, per site in order from A."""

    route_id: UUID
    version: int
    fibres_waiting: int
    items: list[WorkDocument]


class Health(BaseModel):
    """Whether the service answers."""

    status: str


class Readiness(BaseModel):
    """Whether the service can do its work, by what it needs; while files are not ready, records are taken as ever."""

    status: Literal["ready"]
    database: Literal["ready"]
    clock: Literal["ready"]
    files: FilesState
