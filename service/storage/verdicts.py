"""What was judged: written by the steps, read for status, work lists, findings and submissions."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from typing import Any, NamedTuple
from uuid import UUID

import orjson
from sqlalchemy import ColumnElement, Select, and_, bindparam, cast, exists, func, update
from sqlalchemy import select as plain_select
from sqlalchemy.dialects.postgresql import JSONB, aggregate_order_by, insert
from sqlmodel import Session, col, select

from service.storage.jobs import state_of
from service.storage.routes import JudgedBy, with_what_judges
from service.storage.rows import of_route
from service.storage.tables import Fibre, Job, Route, StandingVerdict
from service.vocabulary.findings.finding import VerdictDocument
from service.vocabulary.states import JobKind, JobState


@dataclass(frozen=True, kw_only=True)
class FibreVersions:
    """A fibre to judge, and the evidence version it is judged for."""

    number: int
    evidence_version: int


class WaitingRoute(NamedTuple):
    """What a route is judged by, and some of its fibres that wait; those that a newer engine judged are left to it."""

    by: JudgedBy
    fibres: Sequence[FibreVersions]
    is_left_to_newer: bool


# What is kept of a fibre as it was judged; of each a row for `keep_judged` has `new_` and its name.
_FOUND = ("digest", "content", "work", "counts", "missing", "figures", "problem")


class JudgedRow(NamedTuple):
    """A fibre as settling takes it: its figures, what is missing from its findings, whether it waits to be judged."""

    number: int
    digest: str | None
    counts: dict[str, Any]
    missing: list[Any]
    figures: Any
    engine_version: int
    waits: bool


class JudgedRoute(NamedTuple):
    """All fibres of a route as they were judged, what by, and the engine that made its verdict, if it has one."""

    by: JudgedBy
    fibres: Sequence[JudgedRow]
    verdict_engine: int | None

    @property
    def newest_engine(self) -> int:
        """The highest engine that judged any of it, or has to."""
        return max(self.verdict_engine or 0, *(one.engine_version for one in self.fibres))

    def is_older_than(self, engine: int) -> bool:
        """Whether fibres were judged by an older engine: together with others they make no verdict of either."""
        return any(one.digest is not None and one.engine_version < engine for one in self.fibres)

    def is_renewed_by(self, engine: int) -> bool:
        """Whether its verdict is an older engine's."""
        return self.verdict_engine is not None and self.verdict_engine < engine


def waiting_route(
    session: Session, project_id: UUID, route_id: UUID, *, limit: int, engine: int
) -> WaitingRoute | None:
    """Return fibres of a route that wait to be judged, urgent ones first; None where it has no criteria."""
    asked = {"of_project": project_id, "of_route": route_id, "own_engine": engine, "most": limit}
    rows = session.execute(_waiting(), asked).all()
    if not rows:
        return None
    size = len(JudgedBy._fields)
    by, waiting = JudgedBy(*rows[0][:size]), [row[size:] for row in rows if row[size] is not None]
    fibres = [FibreVersions(number=number, evidence_version=version) for number, version, newer in waiting if not newer]
    return WaitingRoute(by, fibres, is_left_to_newer=bool(waiting) and not fibres)


def keep_judged(
    session: Session, project_id: UUID, route_id: UUID, rows: Sequence[Mapping[str, Any]], *, engine: int
) -> None:
    """Write fibres' documents for the versions that were read: never over a higher version, nor a newer engine's."""
    statement = (
        update(Fibre)
        .where(
            col(Fibre.project_id) == project_id,
            col(Fibre.route_id) == route_id,
            col(Fibre.number) == bindparam("fibre"),
            col(Fibre.judged_version) < bindparam("read_version"),
            col(Fibre.engine_version) <= engine,
        )
        .values(
            judged_version=bindparam("read_version"),
            engine_version=engine,
            is_urgent=col(Fibre.is_urgent) & (col(Fibre.evidence_version) > bindparam("read_version")),
            **{name: bindparam(f"new_{name}") for name in _FOUND},
        )
    )
    session.connection().execute(statement, list(rows))


def fibre_waits(project_id: UUID, route_id: UUID) -> ColumnElement[bool]:
    """Return the condition that a fibre of a route still waits to be judged."""
    return exists().where(col(Fibre.project_id) == project_id, col(Fibre.route_id) == route_id, _waits())


def next_settling(project_id: UUID, route_id: UUID, *, interval: timedelta) -> ColumnElement[Any]:
    """Return when a route may be settled again: an interval after it last was, and now where it never was."""
    is_route = col(StandingVerdict.project_id) == project_id, col(StandingVerdict.route_id) == route_id
    last = select(StandingVerdict.settled_at).where(*is_route).scalar_subquery()
    # A host whose clock is ahead settled in the future: no longer than an interval from now.
    soonest = func.least(func.coalesce(last, func.to_timestamp(0)) + interval, func.now() + interval)
    return func.greatest(soonest, func.now())


def judged_route(session: Session, project_id: UUID, route_id: UUID) -> JudgedRoute | None:
    """Return everything that settling a route takes; None where it has no criteria."""
    asked = {"of_project": project_id, "of_route": route_id}
    row = session.execute(_judged_by(), asked).one_or_none()
    if row is None:
        return None
    *by, engine = row
    found = session.execute(_judged_fibres(), asked)
    fibres = [JudgedRow(*one) for one in found]
    return JudgedRoute(JudgedBy(*by), fibres, engine)


def keep_verdict(session: Session, project_id: UUID, route_id: UUID, values: Mapping[str, Any], *, engine: int) -> None:
    """Write the verdict that a route has now, never over a newer engine's."""
    written = {**values, "engine_version": engine}
    statement = insert(StandingVerdict).values(project_id=project_id, route_id=route_id, **written)
    session.execute(
        statement.on_conflict_do_update(
            index_elements=["project_id", "route_id"], set_=written, where=col(StandingVerdict.engine_version) <= engine
        )
    )


def let_wait(session: Session, project_id: UUID, route_id: UUID, *, numbers: Collection[int], version: int) -> None:
    """Say that fibres have to be judged again for their route's version."""
    is_wanted = col(Fibre.number).in_(numbers)
    statement = update(Fibre).where(col(Fibre.project_id) == project_id, col(Fibre.route_id) == route_id, is_wanted)
    session.execute(statement.values(evidence_version=version))


def counts_standing(session: Session, route: Route, numbers: Collection[int]) -> dict[int, Any]:
    """Return, of some fibres that were judged, their findings counted by segment."""
    statement = select(Fibre.number, Fibre.counts).where(
        *of_route(Fibre, route), col(Fibre.number).in_(numbers), col(Fibre.counts).is_not(None)
    )
    return dict(session.exec(statement).all())


def count_waiting(session: Session, route: Route) -> int:
    """Return how many fibres wait to be judged."""
    statement = select(func.count()).select_from(Fibre)
    return session.exec(statement.where(*of_route(Fibre, route), _waits())).one()


def is_settled(session: Session, route: Route) -> bool:
    """Tell, under the route's lock, whether its standing verdict takes in everything that is recorded."""
    return (
        route.criteria_version is not None
        and count_waiting(session, route) == 0
        and state_of(session, JobKind.SETTLE, route.id) is JobState.IDLE
        and state_of(session, JobKind.JUDGE, route.id) is JobState.IDLE
        and _fibre_problem(session, route) is None
    )


def judging_problem(session: Session, route: Route) -> str | None:
    """Return why judging or settling a route, or a fibre of it, was given up; None while it goes on."""
    statement = select(Job.last_error).where(
        Job.subject_id == route.id,
        Job.state == JobState.PARKED,
        col(Job.kind).in_([JobKind.JUDGE, JobKind.SETTLE]),
    )
    return session.exec(statement.limit(1)).first() or _fibre_problem(session, route)


def standing_verdict(session: Session, route: Route) -> StandingVerdict | None:
    """Return the verdict the route has now."""
    return session.get(StandingVerdict, (route.project_id, route.id), populate_existing=True)


def verdict_document(session: Session, route: Route) -> VerdictDocument | None:
    """Return the verdict the route has now, as its parts."""
    standing = standing_verdict(session, route)
    if standing is None:
        return None
    document: VerdictDocument = orjson.loads(standing.document)
    return document


def fibre_documents(session: Session, route: Route, *, after: int = 0, limit: int | None = None) -> Sequence[Any]:
    """Return number, digest, content and counts of judged fibres in order of number."""
    statement = (
        select(Fibre.number, Fibre.digest, Fibre.content, Fibre.counts)
        .where(*of_route(Fibre, route), col(Fibre.number) > after, col(Fibre.content).is_not(None))
        .order_by(col(Fibre.number))
    )
    return session.execute(statement if limit is None else statement.limit(limit)).all()


def fibre_row(session: Session, route: Route, number: int) -> Fibre | None:
    """Return a fibre's row."""
    return session.get(Fibre, (route.project_id, route.id, number))


def work_groups(session: Session, route: Route) -> Sequence[tuple[str, list[int]]]:
    """Return work as JSON arrays, each with the fibres that have it: all of a route that nobody touched have one."""
    numbers = aggregate_order_by(col(Fibre.number), col(Fibre.number))
    statement = (
        plain_select(col(Fibre.work), func.array_agg(numbers))
        .where(*of_route(Fibre, route), col(Fibre.work).is_not(None))
        .group_by(col(Fibre.work))
        .order_by(func.min(col(Fibre.number)))
    )
    return [(work or "", fibres) for work, fibres in session.execute(statement)]


def work_rows(
    session: Session, route: Route, *, asking: Mapping[str, Any], after: int, limit: int
) -> Sequence[tuple[int, str]]:
    """Return fibres that have an item with some members, with all their work as JSON arrays, in order of number."""
    has_one = cast(col(Fibre.work), JSONB).contains([asking])
    statement = (
        plain_select(col(Fibre.number), col(Fibre.work))
        .where(*of_route(Fibre, route), col(Fibre.work).is_not(None), col(Fibre.number) > after, has_one)
        .order_by(col(Fibre.number))
    )
    return [(number, work or "") for number, work in session.execute(statement.limit(limit))]


# Statements of the way to the work list, each made once: making one takes as long as running it.


@cache
def _waiting() -> Select[Any]:
    by_newer = col(Fibre.engine_version) > bindparam("own_engine")
    return (
        with_what_judges(plain_select())
        .add_columns(col(Fibre.number), col(Fibre.evidence_version), by_newer)
        .outerjoin(Fibre, and_(*of_route(Fibre, Route), _waits()))
        .where(*_asked(Route.project_id, Route.id))
        .order_by(by_newer, col(Fibre.is_urgent).desc(), col(Fibre.number))
        .limit(bindparam("most"))
    )


@cache
def _judged_by() -> Select[Any]:
    return (
        with_what_judges(plain_select())
        .add_columns(col(StandingVerdict.engine_version))
        .outerjoin(StandingVerdict, and_(*of_route(StandingVerdict, Route)))
        .where(*_asked(Route.project_id, Route.id))
    )


@cache
def _judged_fibres() -> Select[Any]:
    columns = [col(getattr(Fibre, name)) for name in JudgedRow._fields[:-1]]
    return plain_select(*columns, _waits()).where(*_asked(Fibre.project_id, Fibre.route_id)).order_by(col(Fibre.number))


def _asked(project_id: Any, route_id: Any) -> tuple[Any, Any]:
    return col(project_id) == bindparam("of_project"), col(route_id) == bindparam("of_route")


def _waits() -> ColumnElement[bool]:
    return col(Fibre.judged_version) < col(Fibre.evidence_version)


def _fibre_problem(session: Session, route: Route) -> str | None:
    statement = select(Fibre.number, Fibre.problem, func.count().over().label("fibres"))
    found = session.execute(
        statement.where(*of_route(Fibre, route), col(Fibre.problem).is_not(None)).order_by(col(Fibre.number)).limit(1)
    ).one_or_none()
    if found is None:
        return None
    others = f", and {found.fibres - 1} more fibres" if found.fibres > 1 else ""
    return f"fibre {found.number} cannot be judged: {found.problem}{others}"
