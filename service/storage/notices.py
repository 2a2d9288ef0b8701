"""Billing's notices: numbered without a gap in commit order, and never changed."""

from collections.abc import Callable, Sequence
from uuid import UUID

from sqlmodel import Session, col, select

from service.storage.rows import of_route
from service.storage.tables import Notice, Route

# A notice that lacks only its number: given the number, it is the notice as it is told.
NoticeDraft = Callable[[int], Notice]


def notices_after(session: Session, project_id: UUID, sequence: int, *, limit: int) -> Sequence[Notice]:
    """Return a project's notices above a number, in order: gapless, in commit order, for ever."""
    statement = select(Notice).where(Notice.project_id == project_id, col(Notice.sequence) > sequence)
    return session.exec(statement.order_by(col(Notice.sequence)).limit(limit)).all()


def told_of(session: Session, route: Route, type_: str) -> set[tuple[str, int]]:
    """Return the segments, with the number of the acceptance, of which billing has had a type of notice."""
    told = select(Notice.segment_id, Notice.acceptance_number).where(*of_route(Notice, route), Notice.type == type_)
    return {(segment, number) for segment, number in session.exec(told)}
