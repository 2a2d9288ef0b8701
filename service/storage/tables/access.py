"""Projects, who may do what in them and sign with what, and the chain of what was done."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import BigInteger, Index, text
from sqlmodel import Field

from service.storage.tables.columns import Row, big_count, instant, long_text, word
from service.vocabulary.people import PartySide
from service.vocabulary.words import TokenKind


class Project(Row, table=True):
    """One contract between an owner and a contractor."""

    id: UUID = Field(primary_key=True)
    code: str = Field(unique=True)
    name: str
    owner: str
    contractor: str
    created_at: datetime = instant()


class ProjectHead(Row, table=True):
    """The row that numbers a project's notices and audit entries; locked last, just before commit."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    notice_sequence: int = big_count()
    audit_sequence: int = big_count()
    audit_hash: str


class Token(Row, table=True):
    """A token's digest; the token itself is shown once and kept nowhere."""

    id: UUID = Field(primary_key=True)
    kind: TokenKind = word(TokenKind)
    token_sha256: str = Field(unique=True)
    # An older program gives it a value; nothing reads it any more.
    prefix: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    holder: str | None
    created_at: datetime = instant()
    expires_at: datetime | None = instant()
    revoked_at: datetime | None = instant()


class TokenProject(Row, table=True):
    """A project that a token opens; an administrator's opens all."""

    token_id: UUID = Field(primary_key=True, foreign_key="token.id")
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")


class Person(Row, table=True):
    """Where a person's name stands; a row may be erased, and with it goes what acts kept of the name."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: str = Field(primary_key=True)
    name: str
    role: str


class PersonSide(Row, table=True):
    """Whose person an id is: the contractor's or the owner's. It stays when the name is erased."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    person_id: str = Field(primary_key=True)
    side: PartySide = word(PartySide)


class PersonCertificate(Row, table=True):
    """A certificate that a person signs with, known by its fingerprint; a retired one stays.

    Its text and subject name the person: they go when the person's name is erased.
    """

    __table_args__ = (Index(None, "project_id", "person_id"),)
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sha256: str = Field(primary_key=True)
    person_id: str
    subject: str | None = long_text()
    pem: str | None = long_text()
    valid_from: datetime = instant()
    valid_until: datetime = instant()
    registered_at: datetime = instant()
    retired_at: datetime | None = instant()
    token_id: UUID


class AuditEntry(Row, table=True):
    """One link of a project's chain of what was done."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sequence: int = Field(primary_key=True, sa_type=BigInteger)
    entry: str = long_text()
    previous_hash: str
    hash: str
