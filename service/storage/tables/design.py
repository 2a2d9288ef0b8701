"""What was agreed, designed and tried: criteria, sites, cable, routes with their design revisions, trials of either."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    ForeignKeyConstraint,
    Identity,
    Index,
    UniqueConstraint,
    literal_column,
    text,
)
from sqlalchemy.dialects.postgresql import ExcludeConstraint
from sqlmodel import Field

from service.storage.tables.columns import Row, big_count, instant, long_text, reference, word
from service.vocabulary.findings.trial import TrialState


class CriteriaVersion(Row, table=True):
    """One immutable, numbered set of criteria."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    version: int = Field(primary_key=True)
    document: str = long_text()
    sha256: str
    created_at: datetime = instant()
    token_id: UUID


class Site(Row, table=True):
    """A place where fibres are joined or end; routes share it."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: str = Field(primary_key=True)
    kind: str


class Route(Row, table=True):
    """A route; whoever changes anything of it locks this row first and raises `version`.

    It is judged by `design_revision`: the one that the engineer agreed to last, and before the first agreement the one
    that the contractor proposed last.
    """

    __table_args__ = (
        UniqueConstraint("project_id", "code"),
        CheckConstraint("agreed_design_revision = design_revision", name="ck_route_agreed_design_revision"),
    )
    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: UUID = Field(primary_key=True)
    code: str
    version: int = big_count(default=1)
    design_revision: int
    agreed_design_revision: int | None = None
    proposed_design_revision: int | None = None
    criteria_version: int | None = None
    proposed_criteria_version: int | None = None


class RouteSite(Row, table=True):
    """A site that a route passes."""

    __table_args__ = (reference("route"), Index(None, "project_id", "site_id"))
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    site_id: str = Field(primary_key=True)


class Section(Row, table=True):
    """A cable between two sites; routes share it. By its number it stands in the range that keeps its fibres apart."""

    project_id: UUID = Field(primary_key=True, foreign_key="project.id")
    id: str = Field(primary_key=True)
    number: int | None = Field(
        default=None, sa_column=Column(BigInteger, Identity(always=True), nullable=False, unique=True)
    )


class RouteSection(Row, table=True):
    """Neighbouring cable fibres of a section that a route takes, while it holds them: nobody else may."""

    __table_args__ = (
        reference("route"),
        reference("section"),
        # No cable has as many fibres. One range for section and fibre: a constraint over two columns would take an
        # extension that not every database may install.
        ExcludeConstraint(
            (
                literal_column(
                    "int8range(section_number * 4096 + first_fibre, section_number * 4096 + last_fibre, '[]')"
                ),
                "&&",
            ),
            name="ex_route_section_held",
            using="gist",
            where=text("is_held"),
        ),
    )
    project_id: UUID = Field(primary_key=True)
    section_id: str = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    first_fibre: int = Field(primary_key=True)
    last_fibre: int = Field(primary_key=True)
    section_number: int = Field(sa_type=BigInteger)
    is_held: bool = True


class DesignRevision(Row, table=True):
    """One immutable design of a route, as the contractor proposed it."""

    __table_args__ = (reference("route"),)
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    revision: int = Field(primary_key=True)
    document: str = long_text()
    sha256: str
    created_at: datetime = instant()
    token_id: UUID


class DesignReply(Row, table=True):
    """The engineer's word on a design revision that was proposed: agreed to, or refused with the reason."""

    __table_args__ = (
        ForeignKeyConstraint(
            ["project_id", "route_id", "revision"],
            ["design_revision.project_id", "design_revision.route_id", "design_revision.revision"],
        ),
    )
    project_id: UUID = Field(primary_key=True)
    route_id: UUID = Field(primary_key=True)
    revision: int = Field(primary_key=True)
    is_agreed: bool
    reason: str | None = long_text()
    replied_at: datetime = instant()
    token_id: UUID


class CriteriaTrial(Row, table=True):
    """A trial of criteria or of a design revision on a route: how far it is, and what came of it.

    `progress` is what a run leaves to the next one. A trial that ended has lost its criteria and its result, to make
    room for newer ones.
    """

    __table_args__ = (
        reference("route"),
        Index(None, "project_id", "requested_at"),
    )
    project_id: UUID = Field(primary_key=True)
    id: UUID = Field(primary_key=True)
    route_id: UUID
    design_revision: int
    criteria_sha256: str
    criteria: str | None = long_text()
    state: TrialState = word(TrialState, check="ck_criteria_trial_state")
    problem: str | None = long_text()
    progress: str | None = long_text()
    result: str | None = long_text()
    requested_at: datetime = instant()
    finished_at: datetime | None = instant()
    token_id: UUID
