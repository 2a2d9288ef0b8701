"""Projects, who may do what in them, and the chain of what was done."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import BigInteger, text
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import big_count, instant, long_text, word
from service.vocabulary.people import PartySide
from service.vocabulary.words import TokenKind


class Project(SQLModel, table=True):
    """One contract between an owner and a contractor."""

    id: UUID = Field(primary_key=True)
    code: str = Field(unique=True)
    name: str
    owner: str
    contractor: str
    created_at: datetime = instant()


class ProjectHead(SQLModel, table=True):
    """The row that numbers a project's notices and audit entries; locked last, just before commit."""

    __tablename__ = "project_head"
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    notice_sequence: int = big_count()
    audit_sequence: int = big_count()
    audit_hash: str


class Token(SQLModel, table=True):
    """A token's digest; the token itself is shown once and kept nowhere."""

    id: UUID = Field(primary_key=True)
    kind: TokenKind = word(TokenKind)
    token_sha256: str = Field(unique=True)
    # An older program gives it a value; nothing reads it any more.
    prefix: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    holder: str | None
    created_at: datetime = instant()
    expires_at: datetime | None = instant(nullable=True)
    revoked_at: datetime | None = instant(nullable=True)


class TokenProject(SQLModel, table=True):
    """A project that a token opens; an administrator's opens all."""

    __tablename__ = "token_project"
    token_id: UUID = Field(primary_key=True, foreign_key="token.id")
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")


class Person(SQLModel, table=True):
    """Where a person's name stands; a row may be erased, and with it goes what acts kept of the name."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: str = Field(primary_key=True)
    name: str
    role: str


class PersonSide(SQLModel, table=True):
    """Whose person an id is: the contractor's or the owner's. It stays when the name is erased."""

    __tablename__ = "person_side"
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    person_id: str = Field(primary_key=True)
    side: PartySide = word(PartySide)


class AuditEntry(SQLModel, table=True):
    """One link of a project's chain of what was done."""

    __tablename__ = "audit_entry"
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    sequence: int = Field(primary_key=True, sa_type=BigInteger)
    entry: str = long_text()
    previous_hash: str
    hash: str
