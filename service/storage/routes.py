"""Routes, their designs and criteria: found within the caller's projects, locked in one order."""

from collections.abc import Collection, Sequence
from functools import lru_cache
from uuid import UUID

from sqlalchemy import bindparam, text, update
from sqlalchemy import select as plain_select
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.errors import NotFoundError
from service.storage.tables import CriteriaVersion, DesignRevision, Fibre, Project, Route, RouteSite
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import read_canonical
from service.vocabulary.records.invalidation import Reach

# Made once and of bare columns, for what is asked most often: 0.4 ms instead of 0.9.
_ROUTE = Route.metadata.tables["route"].c
_VERSION = plain_select(_ROUTE.version, _ROUTE.project_id).where(_ROUTE.id == bindparam("route_id"))


def find_project(session: Session, projects: Collection[UUID] | None, project_id: UUID) -> Project:
    """Return a project that is open to the caller; None as projects opens all."""
    project = session.get(Project, project_id) if projects is None or project_id in projects else None
    if project is None:
        raise NotFoundError(f"No project {project_id}.")
    return project


def find_route(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> Route:
    """Return a route of the caller's projects, without a lock."""
    return _one_route(session, projects, route_id, is_locked=False)


def route_version(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> int:
    """Return a route's version and nothing else: all that a repeated status request needs."""
    row = session.execute(_VERSION, {"route_id": route_id}).one_or_none()
    if row is None or (projects is not None and row.project_id not in projects):
        raise NotFoundError(f"No route {route_id}.")
    version: int = row.version
    return version


def lock_route(session: Session, projects: Collection[UUID] | None, route_id: UUID) -> Route:
    """Return a route of the caller's projects and hold its lock: the first thing that any change of it does."""
    return _one_route(session, projects, route_id, is_locked=True)


def lock_reached(session: Session, route: Route, reach: Reach) -> Sequence[Route]:
    """Lock a route and all that records of it reach, in order of id so that no two requests wait for each other."""
    if reach.lid_sites or reach.is_any_route:
        share_sites(session, route.project_id)
    through = select(RouteSite.route_id).where(
        RouteSite.project_id == route.project_id, col(RouteSite.site_id).in_(reach.lid_sites)
    )
    wanted = (col(Route.id) == route.id) | col(Route.id).in_(through)
    statement = select(Route).where(Route.project_id == route.project_id)
    return lock_all(session, statement if reach.is_any_route else statement.where(wanted))


def lock_all(session: Session, routes: SelectOfScalar[Route]) -> Sequence[Route]:
    """Lock routes in order of id, as they are once the lock is held: a version read before it may be stale."""
    statement = routes.order_by(col(Route.id)).with_for_update().execution_options(populate_existing=True)
    return session.exec(statement).all()


def share_sites(session: Session, project_id: UUID) -> None:
    """Keep which routes pass which sites as it is until commit; taken before any route's lock."""
    session.execute(text("SELECT pg_advisory_xact_lock_shared(hashtextextended(:key, 0))"), {"key": str(project_id)})


def change_sites(session: Session, project_id: UUID) -> None:
    """Be the only one, until commit, who changes which routes pass which sites; taken before any route's lock."""
    session.execute(text("SELECT pg_advisory_xact_lock(hashtextextended(:key, 0))"), {"key": str(project_id)})


def raise_version(route: Route) -> int:
    """Raise a locked route's version and return it."""
    route.version += 1
    return route.version


def touch_fibres(session: Session, route: Route, numbers: Collection[int] | None, *, is_urgent: bool) -> None:
    """Say that fibres, or all with None, have to be judged for the route's version."""
    statement = update(Fibre).where(col(Fibre.project_id) == route.project_id, col(Fibre.route_id) == route.id)
    if numbers is not None:
        statement = statement.where(col(Fibre.number).in_(numbers))
    urgency = {"is_urgent": True} if is_urgent else {}
    session.execute(statement.values(evidence_version=route.version, **urgency))


def layout_of(session: Session, route: Route, *, revision: int | None = None) -> Layout:
    """Return a route's design, laid out; its current revision unless another is asked for."""
    return parse_design(design_row(session, route, revision=revision).document)


def design_row(session: Session, route: Route, *, revision: int | None = None) -> DesignRevision:
    """Return the row of a design revision, the current one unless another is asked for."""
    wanted = revision or route.design_revision
    return session.exec(
        select(DesignRevision).where(
            DesignRevision.project_id == route.project_id,
            DesignRevision.route_id == route.id,
            DesignRevision.revision == wanted,
        )
    ).one()


def criteria_row(session: Session, project_id: UUID, version: int) -> CriteriaVersion:
    """Return the row of a project's criteria version."""
    row = session.get(CriteriaVersion, (project_id, version))
    if row is None:
        raise NotFoundError(f"No criteria version {version}.")
    return row


# Rows of both tables never change, so what their text says may be kept.
@lru_cache(maxsize=128)
def parse_design(document: str) -> Layout:
    """Return the layout of a design's canonical text."""
    return Layout(read_canonical(Design, document))


@lru_cache(maxsize=128)
def parse_criteria(document: str) -> Criteria:
    """Return the criteria of their canonical text."""
    return read_canonical(Criteria, document)


def _one_route(session: Session, projects: Collection[UUID] | None, route_id: UUID, *, is_locked: bool) -> Route:
    statement = select(Route).where(Route.id == route_id)
    if projects is not None:
        statement = statement.where(col(Route.project_id).in_(projects))
    routes = lock_all(session, statement) if is_locked else session.exec(statement).all()
    if not routes:
        raise NotFoundError(f"No route {route_id}.")
    return routes[0]
