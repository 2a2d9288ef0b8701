"""Billing's notices: numbered without a gap in commit order, and never changed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlmodel import Session, col, select

from service.storage.rows import of_route
from service.storage.tables import Notice, Route


@dataclass(frozen=True, kw_only=True)
class NoticeDraft:
    """A notice that lacks only its number; `body` makes its text once the number is known."""

    id: UUID
    type: str
    route_id: UUID
    segment_id: str
    acceptance_number: int
    body: Callable[[int], str]

    def numbered(self, project_id: UUID, sequence: int) -> Notice:
        """Return the notice as it is told."""
        return Notice(
            project_id=project_id,
            sequence=sequence,
            id=self.id,
            type=self.type,
            route_id=self.route_id,
            segment_id=self.segment_id,
            acceptance_number=self.acceptance_number,
            body=self.body(sequence),
        )


def notices_after(session: Session, project_id: UUID, sequence: int, *, limit: int) -> Sequence[Notice]:
    """Return a project's notices above a number, in order: gapless, in commit order, for ever."""
    statement = select(Notice).where(Notice.project_id == project_id, col(Notice.sequence) > sequence)
    return session.exec(statement.order_by(col(Notice.sequence)).limit(limit)).all()


def told_of(session: Session, route: Route, type_: str) -> set[tuple[str, int]]:
    """Return the segments, with the number of the acceptance, of which billing has had a type of notice."""
    told = select(Notice.segment_id, Notice.acceptance_number).where(*of_route(Notice, route), Notice.type == type_)
    return {(segment, number) for segment, number in session.exec(told)}
