"""Routes and their designs by revision: found within the caller's projects, locked in one order."""

from collections.abc import Collection, Sequence
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import Select, and_, bindparam, func, text, update
from sqlalchemy import insert as plain_insert
from sqlalchemy import select as plain_select
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.storage.rows import by_id, keep_at_hand, of_route, required
from service.storage.session import add_rows
from service.storage.tables import (
    CriteriaVersion,
    DesignReply,
    DesignRevision,
    Fibre,
    FoundSpots,
    Project,
    Route,
    RouteSection,
    RouteSite,
    Site,
)
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import SiteKind
from service.vocabulary.quantities import read_canonical
from service.vocabulary.records.record import Reach
from service.vocabulary.states import RevisionState

# Made once and of bare columns, for what is asked most often: 0.4 ms instead of 0.9.
_ROUTES = Route.metadata.tables["route"]
_ROUTE = _ROUTES.c
_VERSION = plain_select(_ROUTE.version, _ROUTE.project_id).where(_ROUTE.id == bindparam("route_id"))


class JudgedBy(NamedTuple):
    """What a route is judged by: its design and its criteria, by number and digest, and where its joints were found."""

    project_id: UUID
    route_id: UUID
    version: int
    design_revision: int
    design_sha256: str
    criteria_version: int
    criteria_sha256: str
    spots_sha256: str | None


class LockedRoute(NamedTuple):
    """What a step has to know of a route once it holds its lock."""

    version: int
    criteria_version: int | None


class RepliedRevision(NamedTuple):
    """A design revision, what the engineer said of it, and where that leaves it."""

    row: DesignRevision
    reply: DesignReply | None
    state: RevisionState


def find_route(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> Route:
    """Return a route of the caller's projects, without a lock."""
    return required(session.exec(by_id(Route, projects, route_id)).one_or_none(), "route", route_id)


def route_version(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> int:
    """Return a route's version and nothing else: all that a repeated status request needs."""
    found = session.execute(_VERSION, {"route_id": route_id}).one_or_none()
    is_open = found is not None and (projects is None or found.project_id in projects)
    version: int = required(found if is_open else None, "route", route_id).version
    return version


def lock_route(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> Route:
    """Return a route of the caller's projects and hold its lock: the first thing that any change of it does."""
    locked = by_id(Route, projects, route_id).with_for_update()
    return required(session.exec(locked).one_or_none(), "route", route_id)


def lock_reached(session: Session, route: Route, reach: Reach) -> Sequence[Route]:
    """Lock a route and all that records of it reach.

    A closure with its lid is every route's that passes it, and a cable too; a calibration every route's on which the
    splicer works. Which those are must not change between looking and locking, so that is locked first.
    """
    if reach.sites or reach.sections or reach.is_any_route:
        share_sites(session, route.project_id)
    # Terminals have no lid, and in some every route of a project ends.
    is_closure = Site.project_id == route.project_id, Site.kind == SiteKind.SPLICE_CLOSURE
    closures = select(Site.id).where(*is_closure, col(Site.id).in_(reach.sites))
    through = select(RouteSite.route_id).where(
        RouteSite.project_id == route.project_id, col(RouteSite.site_id).in_(closures)
    )
    passing = select(RouteSection.route_id).where(
        RouteSection.project_id == route.project_id, col(RouteSection.section_id).in_(reach.sections)
    )
    wanted = (col(Route.id) == route.id) | col(Route.id).in_(through) | col(Route.id).in_(passing)
    statement = select(Route).where(Route.project_id == route.project_id)
    return _lock_in_order(session, statement if reach.is_any_route else statement.where(wanted))


def lock_for_step(session: Session, project_id: UUID, route_id: UUID) -> LockedRoute:
    """Lock a route that stays as it is."""
    statement = plain_select(_ROUTE.version, _ROUTE.criteria_version).where(*_is(project_id, route_id))
    return LockedRoute(*session.execute(statement.with_for_update()).one())


def lock_and_raise(session: Session, project_id: UUID, route_id: UUID) -> LockedRoute:
    """Lock a route and raise its version, in one statement; return it as it is then.

    PostgreSQL waits for the row and then takes it as it was committed: no version that was given meanwhile is lost.
    """
    raised = update(_ROUTES).where(*_is(project_id, route_id)).values(version=_ROUTE.version + 1)
    return LockedRoute(*session.execute(raised.returning(_ROUTE.version, _ROUTE.criteria_version)).one())


def share_sites(session: Session, project_id: UUID) -> None:
    """Keep which routes pass which sites as it is until commit; taken before any route's lock."""
    session.execute(text("SELECT pg_advisory_xact_lock_shared(hashtextextended(:key, 0))"), {"key": str(project_id)})


def change_sites(session: Session, project_id: UUID) -> None:
    """Be the only one, until commit, who changes which routes pass which sites; taken before any route's lock."""
    session.execute(text("SELECT pg_advisory_xact_lock(hashtextextended(:key, 0))"), {"key": str(project_id)})


def lock_with_sites(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> Route:
    """Lock a route whose sites may change, in the order in which a lid's record takes the two locks."""
    change_sites(session, find_route(session, projects, route_id).project_id)
    return lock_route(session, projects, route_id)


def lock_together(session: Session, route: Route, others: Sequence[Route]) -> Route:
    """Lock a route and others of its project, and return it as it is then."""
    wanted = [route.id, *(one.id for one in others)]
    locked = _lock_in_order(session, select(Route).where(col(Route.id).in_(wanted)))
    return next(one for one in locked if one.id == route.id)


def raise_version(route: Route) -> int:
    """Raise a locked route's version and return it."""
    route.version += 1
    return route.version


def touch_fibres(session: Session, route: Route, numbers: Collection[int] | None, *, is_urgent: bool) -> None:
    """Say that fibres, or all with None, have to be judged for the route's version."""
    statement = update(Fibre).where(*of_route(Fibre, route))
    if numbers is not None:
        statement = statement.where(col(Fibre.number).in_(numbers))
    urgency = {"is_urgent": True} if is_urgent else {}
    session.execute(statement.values(evidence_version=route.version, **urgency))


def with_what_judges(statement: Select[Any]) -> Select[Any]:
    """Add to a statement about a route what it is judged by, in the order of `JudgedBy`; no row without criteria."""
    return (
        statement.add_columns(
            col(Route.project_id),
            col(Route.id),
            col(Route.version),
            col(Route.design_revision),
            col(DesignRevision.sha256),
            col(CriteriaVersion.version),
            col(CriteriaVersion.sha256),
            col(FoundSpots.sha256),
        )
        .select_from(Route)
        .join(
            DesignRevision,
            and_(*of_route(DesignRevision, Route), col(DesignRevision.revision) == col(Route.design_revision)),
        )
        .join(
            CriteriaVersion,
            and_(
                col(CriteriaVersion.project_id) == col(Route.project_id),
                col(CriteriaVersion.version) == col(Route.criteria_version),
            ),
        )
        .outerjoin(
            FoundSpots,
            and_(*of_route(FoundSpots, Route), col(FoundSpots.design_sha256) == col(DesignRevision.sha256)),
        )
    )


def layout_of(session: Session, route: Route, *, revision: int | None = None) -> Layout:
    """Return a route's design, laid out; its current revision unless another is asked for."""
    return parse_design(design_row(session, route, revision=revision).document)


def design_row(session: Session, route: Route, *, revision: int | None = None) -> DesignRevision:
    """Return the row of a design revision, the current one unless another is asked for."""
    return design_revision(session, route.project_id, route.id, revision or route.design_revision)


def design_revision(session: Session, project_id: UUID, route_id: UUID, revision: int) -> DesignRevision:
    """Return the row of a route's design revision."""
    row = session.get_one(DesignRevision, (project_id, route_id, revision))
    keep_at_hand(session, row)
    return row


# Rows never change, so what their text says may be kept.
@lru_cache(maxsize=128)
def parse_design(document: str) -> Layout:
    """Return the layout of a design's canonical text."""
    return Layout(read_canonical(Design, document))


def newest_revision(session: Session, route: Route) -> RepliedRevision:
    """Return what was proposed last for a route."""
    newest = select(func.max(DesignRevision.revision)).where(*of_route(DesignRevision, route))
    return find_revision(session, route, session.exec(newest).one() or 0)


def find_revision(session: Session, route: Route, revision: int) -> RepliedRevision:
    """Return a design revision of a route by its number."""
    row = session.get(DesignRevision, (route.project_id, route.id, revision))
    reply = reply_to(session, route, revision)
    return RepliedRevision(required(row, "design revision", revision), reply, _state(route, revision, reply))


def reply_to(session: Session, route: Route, revision: int) -> DesignReply | None:
    """Return what the engineer said of a design revision; None where nothing was said."""
    return session.get(DesignReply, (route.project_id, route.id, revision))


def design_etag(route: Route, newest: RepliedRevision) -> str:
    """Return the tag of what a route's design is: which revision judges, and what became of the newest.

    Not the route's version, which each record raises: on a route at work nobody could ever revise the design.
    """
    agreed, proposed = route.agreed_design_revision or 0, route.proposed_design_revision or 0
    return f'"d{route.design_revision}.{agreed}.{proposed}.{newest.row.revision}"'


def routes_of(session: Session, project: Project) -> Sequence[Route]:
    """Return all routes of a project in order of their code."""
    return session.exec(select(Route).where(Route.project_id == project.id).order_by(Route.code)).all()


def route_with_code(session: Session, project: Project, code: str) -> Route | None:
    """Return the route of a project that has a code."""
    return session.exec(select(Route).where(Route.project_id == project.id, Route.code == code)).one_or_none()


def add_route(session: Session, route: Route, *, fibre_count: int) -> None:
    """Add a route with its fibres, none of them judged yet."""
    add_rows(session, [route])
    unjudged = {"project_id": route.project_id, "route_id": route.id, "evidence_version": 1, "judged_version": 0}
    fibres = [{**unjudged, "is_urgent": False, "number": number} for number in range(1, fibre_count + 1)]
    session.execute(plain_insert(Fibre), fibres)


def site_kinds(session: Session, project_id: UUID, ids: Collection[str]) -> dict[str, str]:
    """Return what those sites are that a project has already."""
    sites = select(Site).where(Site.project_id == project_id, col(Site.id).in_(ids))
    return {site.id: site.kind for site in session.exec(sites)}


def sites_passed(session: Session, route: Route) -> set[str]:
    """Return the sites that a route passes by any of its design revisions."""
    return set(session.exec(select(RouteSite.site_id).where(*of_route(RouteSite, route))))


def pass_sites(session: Session, route: Route, ids: Collection[str]) -> None:
    """Let a route pass more sites."""
    session.add_all(RouteSite(project_id=route.project_id, route_id=route.id, site_id=site_id) for site_id in ids)


def _lock_in_order(session: Session, wanted: SelectOfScalar[Route]) -> Sequence[Route]:
    """Lock routes in order of id, so that no two requests wait for each other.

    They are as they were committed last: a version that was read before the lock may be stale.
    """
    in_order = wanted.order_by(col(Route.id)).with_for_update().execution_options(populate_existing=True)
    return session.exec(in_order).all()


def _is(project_id: UUID, route_id: UUID) -> tuple[Any, Any]:
    return _ROUTE.project_id == project_id, _ROUTE.id == route_id


def _state(route: Route, revision: int, reply: DesignReply | None) -> RevisionState:
    if reply is not None:
        return RevisionState.AGREED if reply.is_agreed else RevisionState.REFUSED
    if revision == route.proposed_design_revision:
        return RevisionState.PROPOSED
    return RevisionState.WITHDRAWN
