"""Routes: described once, revised by number."""

from typing import Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Response
from pydantic import BaseModel

from service.actions.routes import design as actions
from service.api.gate import ContractorGate, ReaderGate
from service.api.routing import CheckedRoute, RowAnswer
from service.storage.routes import design_row, find_route
from service.vocabulary.design.design import Design

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["routes"])


class RouteAnswer(RowAnswer):
    """A route and what binds it."""

    id: UUID
    project_id: UUID
    code: str
    version: int
    design_revision: int
    criteria_version: int | None
    proposed_criteria_version: int | None


class DesignAnswer(BaseModel):
    """A route's current design as it is kept: canonical, its quantities as decimal strings."""

    revision: int
    sha256: str
    design: dict[str, Any]


@router.post("/projects/{project_id}/routes", status_code=201)
def describe_route(gate: ContractorGate, project_id: UUID, form: Design, response: Response) -> RouteAnswer:
    """Describe a route; the same again answers 200 with the one that is there."""
    with gate.write_session_in(project_id) as (session, caller, project):
        route, is_new = actions.describe_route(session, caller, project, form)
        response.status_code = 201 if is_new else 200
        response.headers["Location"] = f"/v1/routes/{route.id}"
        return RouteAnswer.model_validate(route)


@router.get("/routes/{route_id}")
def read_route(gate: ReaderGate, route_id: UUID) -> RouteAnswer:
    """Read what binds a route."""
    with gate.read_snapshot() as (session, caller):
        return RouteAnswer.model_validate(find_route(session, caller.projects, route_id))


@router.get("/routes/{route_id}/design")
def read_design(gate: ReaderGate, route_id: UUID) -> DesignAnswer:
    """Read a route's current design."""
    with gate.read_snapshot() as (session, caller):
        row = design_row(session, find_route(session, caller.projects, route_id))
        return DesignAnswer(revision=row.revision, sha256=row.sha256, design=orjson.loads(row.document))


@router.put("/routes/{route_id}/design")
def revise_design(gate: ContractorGate, route_id: UUID, form: Design) -> RouteAnswer:
    """Revise a route's design; everything is judged anew, records keep their place."""
    with gate.write_session() as (session, caller):
        route = actions.revise_design(session, caller, route_id, form)
        return RouteAnswer.model_validate(route)
