"""What was agreed and designed: criteria, sites, routes and their design revisions."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.storage.tables.columns import big_count, instant, long_text, of_route


class CriteriaVersion(SQLModel, table=True):
    """One immutable, numbered set of criteria."""

    __tablename__ = "criteria_version"
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    version: int = Field(primary_key=True)
    document: str = long_text()
    sha256: str
    created_at: datetime = instant()
    token_id: UUID


class Site(SQLModel, table=True):
    """A place where fibres are joined or end; routes share it."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: str = Field(primary_key=True)
    kind: str


class Route(SQLModel, table=True):
    """A route; whoever changes anything of it locks this row first and raises `version`."""

    __table_args__ = (UniqueConstraint("project_id", "code"),)
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: UUID = Field(primary_key=True)
    code: str
    version: int = big_count(default=1)
    design_revision: int
    criteria_version: int | None = None
    proposed_criteria_version: int | None = None


class RouteSite(SQLModel, table=True):
    """A site that a route passes."""

    __tablename__ = "route_site"
    __table_args__ = (of_route(), Index(None, "project_id", "site_id"))
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    site_id: str = Field(primary_key=True)


class DesignRevision(SQLModel, table=True):
    """One immutable design of a route."""

    __tablename__ = "design_revision"
    __table_args__ = (of_route(),)
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    revision: int = Field(primary_key=True)
    document: str = long_text()
    sha256: str
    created_at: datetime = instant()
    token_id: UUID
