"""Cable: the sections of a project, which of their fibres each route holds, and where its joints were found."""

from collections.abc import Collection, Sequence
from typing import NamedTuple
from uuid import UUID

from sqlalchemy import tuple_, update
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import Session, col, select

from service.storage.routes import JudgedBy
from service.storage.rows import of_route
from service.storage.tables import FoundSpots, Route, RouteSection, RouteSite, Section


class HeldRange(NamedTuple):
    """Neighbouring cable fibres of a section, both ends included."""

    section_id: str
    first_fibre: int
    last_fibre: int


def routes_beside(
    session: Session, route: Route, *, sections: Collection[str], sites: Collection[str]
) -> Sequence[Route]:
    """Return the other routes of a project that hold fibres of some sections, or pass some sites, in order of code."""
    holding = select(RouteSection.route_id).where(
        RouteSection.project_id == route.project_id,
        col(RouteSection.section_id).in_(sections),
        col(RouteSection.is_held),
    )
    passing = select(RouteSite.route_id).where(
        RouteSite.project_id == route.project_id, col(RouteSite.site_id).in_(sites)
    )
    beside = select(Route).where(
        Route.project_id == route.project_id,
        Route.id != route.id,
        col(Route.id).in_(holding) | col(Route.id).in_(passing),
    )
    return session.exec(beside.order_by(col(Route.code))).all()


def sections_held(session: Session, route: Route) -> set[str]:
    """Return the sections of which a route holds fibres, by whichever of its designs."""
    held = select(RouteSection.section_id).where(*of_route(RouteSection, route), col(RouteSection.is_held))
    return set(session.exec(held))


def hold_fibres(session: Session, route: Route, wanted: Collection[HeldRange]) -> None:
    """Let a locked route hold some cable fibres and no others; those that another holds the database refuses."""
    held = {
        HeldRange(*row)
        for row in session.execute(
            select(RouteSection.section_id, RouteSection.first_fibre, RouteSection.last_fibre).where(
                *of_route(RouteSection, route), col(RouteSection.is_held)
            )
        )
    }
    # Let go before anything is taken: a range that is cut in two is held by nobody in between.
    gone, new = held.difference(wanted), set(wanted).difference(held)
    if gone:
        own = tuple_(col(RouteSection.section_id), col(RouteSection.first_fibre), col(RouteSection.last_fibre))
        statement = update(RouteSection).where(*of_route(RouteSection, route), own.in_(gone))
        session.execute(statement.values(is_held=False))
    if new:
        _take(session, route, sorted(new))


def _take(session: Session, route: Route, ranges: Sequence[HeldRange]) -> None:
    names = sorted({one.section_id for one in ranges})
    own = [{"project_id": route.project_id, "id": name} for name in names]
    session.execute(insert(Section).on_conflict_do_nothing(), own)
    known = select(Section.id, Section.number).where(Section.project_id == route.project_id, col(Section.id).in_(names))
    numbers = {row[0]: row[1] for row in session.execute(known)}
    rows = [
        {
            "project_id": route.project_id,
            "route_id": route.id,
            **one._asdict(),
            "section_number": numbers[one.section_id],
            "is_held": True,
        }
        for one in ranges
    ]
    taking = insert(RouteSection)
    key = [column.name for column in RouteSection.__table__.primary_key]  # type: ignore[attr-defined]
    session.execute(taking.on_conflict_do_update(index_elements=key, set_={"is_held": True}), rows)


def spots_document(session: Session, project_id: UUID, route_id: UUID, *, design_sha256: str) -> str | None:
    """Return where the joints of a route were found in one design, if they were."""
    statement = select(FoundSpots.document).where(
        FoundSpots.project_id == project_id,
        FoundSpots.route_id == route_id,
        FoundSpots.design_sha256 == design_sha256,
    )
    return session.exec(statement).one_or_none()


def keep_spots(session: Session, by: JudgedBy, document: str, *, sha256: str) -> None:
    """Write where the joints of a route are found."""
    written = {"design_sha256": by.design_sha256, "sha256": sha256, "document": document}
    statement = insert(FoundSpots).values(project_id=by.project_id, route_id=by.route_id, **written)
    session.execute(statement.on_conflict_do_update(index_elements=["project_id", "route_id"], set_=written))
