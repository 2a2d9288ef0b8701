"""Records, page by page in order of arrival."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from sqlalchemy import and_, tuple_
from sqlmodel import Session, col, select

from service.storage.tables import Record, RecordEnd, Route


class ListedRecord(NamedTuple):
    """A record, and how it ended if it did."""

    record: Record
    end: RecordEnd | None


def list_records(
    session: Session, route: Route, *, after: Sequence[str | int] | None, limit: int
) -> list[ListedRecord]:
    """Return records of a route that arrived after a position, a time of arrival and an id."""
    statement = (
        select(Record, RecordEnd)
        .outerjoin(
            RecordEnd,
            and_(col(RecordEnd.project_id) == col(Record.project_id), col(RecordEnd.record_id) == col(Record.id)),
        )
        .where(Record.project_id == route.project_id, Record.route_id == route.id)
        .order_by(col(Record.received_at), col(Record.id))
    )
    if after is not None:
        position = (datetime.fromisoformat(str(after[0])), UUID(str(after[1])))
        statement = statement.where(tuple_(col(Record.received_at), col(Record.id)) > position)
    return [ListedRecord(*row) for row in session.execute(statement.limit(limit))]
