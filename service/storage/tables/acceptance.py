"""What was submitted, issued, signed, decided and told."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import BigInteger, Column, Integer, Text, UniqueConstraint, text
from sqlalchemy.dialects.postgresql import ARRAY
from sqlmodel import Field

from service.storage.tables.columns import (
    Row,
    engine_version,
    index_where,
    instant,
    json_value,
    long_text,
    reference,
    word,
)
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignatureRole, SignedBy, UploadState
from service.vocabulary.states import SubmissionState


class Submission(Row, table=True):
    """The contractor's request to accept segments, with the record set it froze.

    Name and position are printed, as they were when it was made; they go when the person's name is erased.
    """

    __table_args__ = (
        reference("route"),
        UniqueConstraint("project_id", "route_id", "number"),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    route_id: UUID
    number: int
    state: SubmissionState = word(SubmissionState, check="ck_submission_state")
    verdict_digest: str
    engine_version: int = engine_version()
    design_revision: int
    criteria_version: int
    segments: list[str] = Field(sa_column=Column(ARRAY(Text), nullable=False))
    concessions: list[Any] = json_value()
    dark_fibres: list[int] = Field(default_factory=list, sa_column=Column(ARRAY(Integer), nullable=False))
    responsible_person: str
    signature: SignedBy = word(SignedBy)
    submitted_at: datetime = instant()
    token_id: UUID
    problem: str | None = long_text()
    responsible_name: str | None = long_text()
    responsible_position: str | None = long_text()


class SubmissionSegment(Row, table=True):
    """A segment of a submission; at most one open submission holds it."""

    __table_args__ = (
        reference("submission"),
        index_where("uq_submission_segment_open", "is_open", "project_id", "route_id", "segment_id", unique=True),
    )
    project_id: UUID = Field(primary_key=True)
    submission_id: UUID = Field(primary_key=True)
    segment_id: str = Field(primary_key=True)
    route_id: UUID
    is_open: bool = True


class SubmissionRecord(Row, table=True):
    """A record of the set that a submission froze, and whether it had ended, or was annulled, by then."""

    # No references: each would take half a second of submitting 36,000 records, under the route's lock. One statement
    # makes these rows, of records that are there, for the submission that the same transaction adds; none is removed.
    project_id: UUID = Field(primary_key=True)
    submission_id: UUID = Field(primary_key=True)
    record_id: UUID = Field(primary_key=True)
    is_ended: bool
    is_annulled: bool = Field(default=False, sa_column_kwargs={"server_default": text("false")})


class Package(Row, table=True):
    """The signed PDF of a submission: the certified file, and the current one with the signatures added since.

    `attached` are the SHA-256 of the files inside it, by name; the audit head is the one that it states; the levels are
    those read back from the files.
    """

    __table_args__ = (
        reference("submission"),
        UniqueConstraint("project_id", "submission_id"),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    submission_id: UUID
    route_id: UUID
    number: str
    verification_code: str = Field(unique=True)
    certified_sha256: str
    certified_level: SignatureLevel = word(SignatureLevel)
    current_sha256: str
    current_level: SignatureLevel = word(SignatureLevel)
    findings_sha256: str
    attached: dict[str, str] = json_value()
    audit_sequence: int = Field(sa_type=BigInteger)
    audit_hash: str
    issued_at: datetime = instant()
    deemed_at: datetime | None = instant()
    defect_noticed_at: datetime | None = instant()
    defect_notice: str | None = long_text()


class PackageFile(Row, table=True):
    """A file of a package: the certified one, which has no role, then one for each signature that was added.

    `role` is the signature's place. `person` is who signed or whose act was sealed, by opaque id; none where the clock
    decided. `level` is what every signature in the file reaches.
    """

    __table_args__ = (
        reference("package"),
        UniqueConstraint("project_id", "package_id", "role"),
    )
    project_id: UUID = Field(primary_key=True)
    package_id: UUID = Field(primary_key=True)
    sequence: int = Field(primary_key=True)
    sha256: str
    role: SignaturePlace | None = word(SignaturePlace)
    signed_by: SignedBy = word(SignedBy)
    person: str | None = None
    certificate_sha256: str
    signed_at: datetime = instant()
    level: SignatureLevel = word(SignatureLevel)


class SignatureUpload(Row, table=True):
    """A file that somebody signed with a key of their own and sent in, and what came of it.

    `base_sha256` is the package's current file that it has to follow, `signer` whose signature it has to hold.
    """

    __table_args__ = (
        reference("package"),
        UniqueConstraint("project_id", "package_id", "role", "sha256"),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    package_id: UUID
    role: SignatureRole = word(SignatureRole)
    sha256: str
    base_sha256: str
    signer: str
    state: UploadState = word(UploadState, check="ck_signature_upload_state")
    problems: list[str] = json_value()
    uploaded_at: datetime = instant()
    checked_at: datetime | None = instant()
    token_id: UUID


class Decision(Row, table=True):
    """The engineer's word on every segment of one package; where the clock decided there is no token.

    Name and position are printed, as they were when it was made; they go when the person's name is erased.
    """

    __table_args__ = (reference("package"),)
    project_id: UUID = Field(primary_key=True)
    package_id: UUID = Field(primary_key=True)
    package_sha256: str
    document: str = long_text()
    sha256: str
    decided_at: datetime = instant()
    token_id: UUID | None = None
    decided_by_name: str | None = long_text()
    decided_by_position: str | None = long_text()


class Acceptance(Row, table=True):
    """A segment accepted; at most one stands at a time."""

    __table_args__ = (
        reference("route"),
        index_where(
            "uq_acceptance_standing", "withdrawn_at IS NULL", "project_id", "route_id", "segment_id", unique=True
        ),
    )
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    segment_id: str = Field(primary_key=True)
    number: int = Field(primary_key=True)
    package_id: UUID
    accepted_at: datetime = instant()
    withdrawn_at: datetime | None = instant()
    withdrawal_reason: str | None = long_text()


class Notice(Row, table=True):
    """A fact for billing, gapless and in commit order."""

    __table_args__ = (UniqueConstraint("project_id", "route_id", "segment_id", "acceptance_number", "type"),)
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sequence: int = Field(primary_key=True, sa_type=BigInteger)
    id: UUID
    type: str
    route_id: UUID
    segment_id: str
    acceptance_number: int
    body: str = long_text()
