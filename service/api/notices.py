"""Notices: what billing reads, gapless and in commit order, for ever."""

from typing import Annotated
from uuid import UUID

import orjson
from fastapi import APIRouter, Query, Response

from service.actions.billing import notices_after
from service.api.cursors import DEFAULT_LIMIT, MOST
from service.api.gate import BillingGate
from service.api.package_forms import NoticePage
from service.api.routing import CheckedRoute

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["billing"])
# Beyond every number that JSON carries exactly.
_LAST = 2**53 - 1


@router.get("/projects/{project_id}/notices", response_model=NoticePage)
def read_notices(
    gate: BillingGate,
    project_id: UUID,
    after: Annotated[int, Query(ge=0, le=_LAST)] = 0,
    limit: Annotated[int, Query(ge=1, le=MOST)] = DEFAULT_LIMIT,
) -> Response:
    """Read the notices after a number; keep `last` and ask for what is after it the next time."""
    with gate.enter_project(project_id) as (session, _, project):
        rows = notices_after(session, project.id, after, limit=limit)
    last = rows[-1].sequence if rows else after
    body = {"notices": [orjson.Fragment(row.body) for row in rows], "last": last}
    headers = {"Cache-Control": "private, no-cache"}
    if len(rows) == limit:
        headers["Link"] = f'</v1/projects/{project_id}/notices?after={last}&limit={limit}>; rel="next"'
    return Response(orjson.dumps(body), media_type="application/json", headers=headers)
