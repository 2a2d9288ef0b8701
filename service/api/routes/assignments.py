"""The fibre assignment table of a route, as JSON and as CSV."""

import csv
from collections.abc import Iterable
from io import StringIO
from typing import Annotated
from uuid import UUID

import orjson
from fastapi import APIRouter, Header, Query, Response
from pydantic import BaseModel, TypeAdapter
from typing_extensions import TypedDict

from service.api.cursors import DEFAULT_LIMIT, MOST, read_cursor, write_cursor
from service.api.gate import ReaderGate
from service.api.routing import CheckedRoute
from service.storage.routes import find_route, layout_of
from service.vocabulary import quantities as q
from service.vocabulary.design.assignments import HEADINGS, Assignment, assignments_of, flat
from service.vocabulary.findings.finding import LocalFibreDocument

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["routes"])
_CSV = "text/csv"
# 20 MB and a second: of 500 fibres through 400 closures it would be 75 MB.
_MOST_ROWS = 50_000
_POSITION: TypeAdapter[tuple[int]] = TypeAdapter(tuple[int])


class AssignmentDocument(TypedDict):
    """A fibre at a site: its cable fibres on both sides, and what is between them; null is nothing, or not said.

    `joints` names each by its position from A and its kind; `to_port` is the other end of a patch cord.
    """

    fibre: int
    site: str
    action: str
    towards_a: LocalFibreDocument | None
    port: int | None
    to_port: int | None
    tray: int | None
    joints: str
    towards_b: LocalFibreDocument | None


class AssignmentPage(BaseModel):
    """Rows in order of fibre, then of the sites from A; `next` is the cursor of those that follow."""

    route_id: UUID
    design_revision: int
    items: list[AssignmentDocument]
    next: str | None


@router.get(
    "/routes/{route_id}/fibre-assignments",
    response_model=AssignmentPage,
    responses={200: {"content": {_CSV: {"schema": {"type": "string"}}}}},
)
def read_fibre_assignments(
    gate: ReaderGate,
    route_id: UUID,
    site: q.Identifier | None = None,
    cursor: str | None = None,
    limit: Annotated[int, Query(ge=1, le=MOST)] = DEFAULT_LIMIT,
    accept: Annotated[str | None, Header(description="With text/csv the same is answered as a table.")] = None,
) -> Response:
    """Read which fibre is which where, at one site or at all, by the design in force.

    `limit` counts fibres, so that a fibre is never cut in two; a page of a long route has fewer.
    """
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        layout = layout_of(session, route)
    # Pages of two designs put together would be the table of none.
    of = f"fibre-assignments/{route_id}/{route.design_revision}/{site}"
    first = 1 if cursor is None else read_cursor(cursor, of=of, form=_POSITION)[0]
    fibres = min(limit, _MOST_ROWS // (1 if site is not None else len(layout.design.sites)))
    last = min(first + fibres - 1, layout.design.fibre_count)
    rows = assignments_of(layout, range(first, last + 1), site=site)
    following = write_cursor([last + 1], of=of) if last < layout.design.fibre_count else None
    headers = {"Cache-Control": "private, no-cache", "Vary": "Accept"}
    if following is not None:
        at = "" if site is None else f"&site={site}"
        link = f"</v1/routes/{route_id}/fibre-assignments?limit={limit}{at}&cursor={following}>"
        headers["Link"] = f'{link}; rel="next"'
    if accept is not None and _CSV in accept:
        return Response(_table(rows, with_headings=cursor is None), media_type=_CSV, headers=headers)
    items = [_document(row) for row in rows]
    page = {"route_id": route.id, "design_revision": route.design_revision, "items": items, "next": following}
    return Response(orjson.dumps(page), media_type="application/json", headers=headers)


def _document(row: Assignment) -> dict[str, object]:
    sides = {"towards_a": row.towards_a, "towards_b": row.towards_b}
    return row._asdict() | {side: None if local is None else local._asdict() for side, local in sides.items()}


def _table(rows: Iterable[Assignment], *, with_headings: bool) -> str:
    """Write lines of RFC 4180; pages put behind each other are one table."""
    file = StringIO()
    lines = csv.writer(file)
    if with_headings:
        lines.writerow(HEADINGS)
    lines.writerows(flat(row) for row in rows)
    return file.getvalue()
