"""Decisions on packages, and the acceptances that they make."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, func, select

from service.storage.rows import of_route
from service.storage.session import add_rows
from service.storage.tables import Acceptance, Decision, Package, Route


def decision_on(session: Session, package: Package) -> Decision | None:
    """Return the decision on a package; None until it is decided."""
    return session.get(Decision, (package.project_id, package.id))


def decision_made(session: Session, package: Package) -> Decision:
    """Return the decision on a package that is decided."""
    return session.get_one(Decision, (package.project_id, package.id))


def acceptances_of(session: Session, route: Route) -> Sequence[Acceptance]:
    """Return every acceptance of a route's segments, withdrawn ones too."""
    return session.exec(select(Acceptance).where(*of_route(Acceptance, route))).all()


def standing_acceptances(session: Session, route: Route) -> dict[str, Acceptance]:
    """Return the acceptance that stands of each accepted segment."""
    return {one.segment_id: one for one in acceptances_of(session, route) if one.withdrawn_at is None}


def accept_segment(session: Session, route: Route, package: Package, segment: str, *, now: datetime) -> None:
    """Add the acceptance of a segment under its route's lock, numbered after those before it."""
    numbers = select(func.max(Acceptance.number)).where(*of_route(Acceptance, route), Acceptance.segment_id == segment)
    acceptance = Acceptance(
        project_id=route.project_id,
        route_id=route.id,
        segment_id=segment,
        number=(session.exec(numbers).one() or 0) + 1,
        package_id=package.id,
        accepted_at=now,
    )
    add_rows(session, [acceptance])
