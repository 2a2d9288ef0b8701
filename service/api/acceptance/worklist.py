"""What a crew has to do: orders for a whole route, and the single items behind each."""

from typing import Annotated
from uuid import UUID

import orjson
from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, TypeAdapter
from sqlmodel import Session

from service.actions.acceptance.worklist import WorkItemDocument, items_of, orders_of
from service.api.cursors import MOST, read_cursor, write_cursor
from service.api.etags import PRIVATE, answer_unless_known
from service.api.gate import ReaderGate
from service.api.routing import CheckedRoute
from service.storage import verdicts
from service.storage.routes import find_route, route_version
from service.storage.tables import Route
from service.vocabulary import quantities as q
from service.vocabulary.findings.words import Act
from service.vocabulary.worklist.orders import OrderDocument

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["status"])
_FIBRES_A_PAGE = 24
_POSITION = TypeAdapter(tuple[q.FibreNumber])


class WorkList(BaseModel):
    """What a crew has to do on a route: work at its sites from A on, then tests, papers, and questions."""

    route_id: UUID
    version: int
    fibres_waiting: int
    orders: list[OrderDocument]


class WorkItemPage(BaseModel):
    """Single items in order of fibre, those that only several fibres tell together first."""

    items: list[WorkItemDocument]
    next: str | None


@router.get("/routes/{route_id}/worklist", response_model=WorkList)
def read_worklist(gate: ReaderGate, route_id: UUID, request: Request) -> Response:
    """Read what a crew has to do, in a foreman's order; with a matching If-None-Match the answer is 304."""
    with gate.read_snapshot() as (session, caller):
        etag = f'"w{route_version(session, caller.projects, route_id)}"'
        return answer_unless_known(
            etag, request, lambda: _write_worklist(session, find_route(session, caller.projects, route_id))
        )


@router.get("/routes/{route_id}/worklist/items", response_model=WorkItemPage)
def read_work_items(
    gate: ReaderGate,
    route_id: UUID,
    act: Act | None = None,
    site: q.Identifier | None = None,
    cursor: str | None = None,
    limit: Annotated[int, Query(ge=1, le=MOST)] = _FIBRES_A_PAGE,
) -> Response:
    """Read the single items behind orders, of an act and a site where these are named.

    `limit` counts fibres, so that a fibre is never cut in two.
    """
    of = f"worklist/{route_id}/{act}/{site}"
    after = 0 if cursor is None else read_cursor(cursor, of=of, form=_POSITION)[0]
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        items, last = items_of(session, route, act=act, site=site, after=after, limit=limit)
    headers = {"Cache-Control": PRIVATE}
    following = None if last is None else write_cursor([last], of=of)
    if following is not None:
        query = "".join(f"&{name}={value}" for name, value in (("act", act), ("site", site)) if value)
        link = f"</v1/routes/{route_id}/worklist/items?limit={limit}{query}&cursor={following}>"
        headers["Link"] = f'{link}; rel="next"'
    return Response(orjson.dumps({"items": items, "next": following}), headers=headers, media_type="application/json")


def _write_worklist(session: Session, route: Route) -> bytes:
    return orjson.dumps(
        {
            "route_id": route.id,
            "version": route.version,
            "fibres_waiting": verdicts.count_waiting(session, route),
            "orders": orders_of(session, route),
        }
    )
