"""Notices: what billing reads, gapless and in commit order, for ever."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Query, Response
from pydantic import BaseModel

from service.api.cursors import DEFAULT_LIMIT, MOST
from service.api.gate import BillingGate
from service.api.routing import CheckedRoute
from service.storage.audit import notices_after

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["billing"])
# Beyond every number that JSON carries exactly.
_LAST = 2**53 - 1


class NoticeEvent(BaseModel):
    """A CloudEvents 1.0 body."""

    specversion: str
    id: UUID
    source: str
    type: str
    subject: str
    time: datetime
    datacontenttype: str
    sequence: str
    data: dict[str, Any]


class NoticePage(BaseModel):
    """Notices in commit order; `last` is what to ask for next time, whether or not there are more now."""

    notices: list[NoticeEvent]
    last: int


@router.get("/projects/{project_id}/notices", response_model=NoticePage)
def read_notices(
    gate: BillingGate,
    project_id: UUID,
    after: Annotated[int, Query(ge=0, le=_LAST)] = 0,
    limit: Annotated[int, Query(ge=1, le=MOST)] = DEFAULT_LIMIT,
) -> Response:
    """Read the notices after a number; keep `last` and ask for what is after it the next time."""
    with gate.read_snapshot_of(project_id) as (session, _, project):
        rows = notices_after(session, project.id, after, limit=limit)
    last = rows[-1].sequence if rows else after
    body = {"notices": [orjson.Fragment(row.body) for row in rows], "last": last}
    headers = {"Cache-Control": "private, no-cache"}
    if len(rows) == limit:
        headers["Link"] = f'</v1/projects/{project_id}/notices?after={last}&limit={limit}>; rel="next"'
    return Response(orjson.dumps(body), media_type="application/json", headers=headers)
