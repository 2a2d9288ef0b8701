"""What the statements of all aggregates share: a row by its id in the caller's projects, the rows of a route."""

from collections.abc import Collection
from typing import Any, TypeVar
from uuid import UUID

from sqlmodel import Session, SQLModel, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.errors import NotFoundError

_Row = TypeVar("_Row", bound=SQLModel)
_Found = TypeVar("_Found")


def by_id(table: type[_Row], projects: Collection[UUID] | None, id_: UUID) -> SelectOfScalar[_Row]:
    """Return the statement that finds a row by its id within the caller's projects, as it is now; `None` opens all."""
    found_by: Any = table
    statement = select(table).where(found_by.id == id_).execution_options(populate_existing=True)
    return statement if projects is None else statement.where(col(found_by.project_id).in_(projects))


def required(row: _Found | None, called: str, id_: object) -> _Found:
    """Return a row that was looked for; the caller learns of one that is not there."""
    if row is None:
        raise NotFoundError(f"No {called} {id_}.")
    return row


def of_route(table: Any, route: Any) -> tuple[Any, Any]:
    """Return the conditions that a row is a route's."""
    return col(table.project_id) == route.project_id, col(table.route_id) == route.id


def keep_at_hand(session: Session, row: SQLModel) -> None:
    """Let a session remember a row that never changes, which else it forgets as soon as nobody holds it."""
    session.info[id(row)] = row
