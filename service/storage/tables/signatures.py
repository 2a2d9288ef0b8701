"""Who may sign with which certificate, the files of a package signature by signature, and those that were sent in."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKeyConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import instant, json_value, long_text, one_of, word
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignatureRole, SignedBy, UploadState


class PersonCertificate(SQLModel, table=True):
    """A certificate that a person signs with, known by its fingerprint; a retired one stays.

    Its text and subject name the person: they go when the person's name is erased.
    """

    __tablename__ = "person_certificate"
    __table_args__ = (Index(None, "project_id", "person_id"),)
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sha256: str = Field(primary_key=True)
    person_id: str
    subject: str | None = long_text(nullable=True)
    pem: str | None = long_text(nullable=True)
    valid_from: datetime = instant()
    valid_until: datetime = instant()
    registered_at: datetime = instant()
    retired_at: datetime | None = instant(nullable=True)
    token_id: UUID


class PackageFile(SQLModel, table=True):
    """A file of a package: the certified one, which has no role, then one for each signature that was added.

    `role` is the signature's place. `person` is who signed or whose act was sealed, by opaque id; none where the clock
    decided. `level` is what every signature in the file reaches.
    """

    __tablename__ = "package_file"
    __table_args__ = (
        ForeignKeyConstraint(["project_id", "package_id"], ["package.project_id", "package.id"]),
        UniqueConstraint("project_id", "package_id", "role"),
    )
    project_id: UUID = Field(primary_key=True)
    package_id: UUID = Field(primary_key=True)
    sequence: int = Field(primary_key=True)
    sha256: str
    role: SignaturePlace | None = word(SignaturePlace, nullable=True)
    signed_by: SignedBy = word(SignedBy)
    person: str | None = None
    certificate_sha256: str
    signed_at: datetime = instant()
    level: SignatureLevel = word(SignatureLevel)


class SignatureUpload(SQLModel, table=True):
    """A file that somebody signed with a key of their own and sent in, and what came of it.

    `base_sha256` is the package's current file that it has to follow, `signer` whose signature it has to hold.
    """

    __tablename__ = "signature_upload"
    __table_args__ = (
        ForeignKeyConstraint(["project_id", "package_id"], ["package.project_id", "package.id"]),
        UniqueConstraint("project_id", "package_id", "role", "sha256"),
        one_of("signature_upload", "state", UploadState),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    package_id: UUID
    role: SignatureRole = word(SignatureRole)
    sha256: str
    base_sha256: str
    signer: str
    state: UploadState = word(UploadState)
    problems: list[str] = json_value()
    uploaded_at: datetime = instant()
    checked_at: datetime | None = instant(nullable=True)
    token_id: UUID
