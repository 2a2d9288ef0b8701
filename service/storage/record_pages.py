"""Records, page by page in order of arrival."""

from typing import NamedTuple
from uuid import UUID

from sqlalchemy import and_, tuple_
from sqlmodel import Session, col, select

from service.storage.tables import Record, RecordEnd, Route


class ListedRecord(NamedTuple):
    """A record, and how it ended if it did."""

    record: Record
    end: RecordEnd | None


def list_records(session: Session, route: Route, *, after: tuple[int, UUID] | None, limit: int) -> list[ListedRecord]:
    """Return records of a route that arrived after a position: a route version and an id.

    The version, and not a time: it is given under the route's lock, so a slow commit is never stepped over.
    """
    statement = (
        select(Record, RecordEnd)
        .outerjoin(
            RecordEnd,
            and_(col(RecordEnd.project_id) == col(Record.project_id), col(RecordEnd.record_id) == col(Record.id)),
        )
        .where(Record.project_id == route.project_id, Record.route_id == route.id)
        .order_by(col(Record.route_version), col(Record.id))
    )
    if after is not None:
        statement = statement.where(tuple_(col(Record.route_version), col(Record.id)) > after)
    return [ListedRecord(*row) for row in session.execute(statement.limit(limit))]
