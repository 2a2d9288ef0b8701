"""Criteria: set by the engineer, proposed for a route, in force when the contractor acknowledges them."""

from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from service.actions.routes import criteria as actions
from service.actions.routes.criteria import reports_in, reports_on_route
from service.api.gate import ContractorGate, EngineerGate, ReaderGate
from service.api.routes.design import RouteAnswer
from service.api.routing import CheckedRoute
from service.storage.criteria import criteria_row
from service.storage.tables import CriteriaVersion, Route
from service.vocabulary import quantities as q
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.review import CriteriaReport

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["criteria"])


class CriteriaAnswer(BaseModel):
    """A criteria version as it is kept: canonical, its quantities as decimal strings."""

    version: int
    sha256: str
    criteria: dict[str, Any]
    reports: list[CriteriaReport]


class CriteriaVersionForm(q.Value):
    """A criteria version, by its number."""

    version: Annotated[q.RowNumber, Field(strict=True)]


class BoundRouteAnswer(RouteAnswer):
    """A route, and the reports on the criteria that were named for it."""

    reports: list[CriteriaReport]


@router.post("/projects/{project_id}/criteria", status_code=201)
def set_criteria(gate: EngineerGate, project_id: UUID, form: Criteria, response: Response) -> CriteriaAnswer:
    """Add a criteria version; the newest again answers 200 with itself. `reports` says what is wrong with it."""
    with gate.write_session_in(project_id) as (session, caller, project):
        row, is_new = actions.set_criteria(session, caller, project, form)
        response.status_code = 201 if is_new else 200
        response.headers["Location"] = f"/v1/projects/{project_id}/criteria/{row.version}"
        return _answer(row)


@router.get("/projects/{project_id}/criteria/{version}")
def read_criteria(gate: ReaderGate, project_id: UUID, version: q.RowNumber) -> CriteriaAnswer:
    """Read a criteria version."""
    with gate.read_snapshot_of(project_id) as (session, _, project):
        return _answer(criteria_row(session, project.id, version))


@router.put("/routes/{route_id}/criteria")
def propose_criteria(gate: EngineerGate, route_id: UUID, form: CriteriaVersionForm) -> BoundRouteAnswer:
    """Propose a criteria version for a route."""
    with gate.write_session() as (session, caller):
        route = actions.propose_criteria(session, caller, route_id, form.version)
        return _bound(session, route, form.version)


@router.put("/routes/{route_id}/criteria/acknowledgement")
def acknowledge_criteria(gate: ContractorGate, route_id: UUID, form: CriteriaVersionForm) -> BoundRouteAnswer:
    """Acknowledge what the engineer proposed: from now on the route is judged by it."""
    with gate.write_session() as (session, caller):
        route = actions.acknowledge_criteria(session, caller, route_id, form.version)
        return _bound(session, route, form.version)


def _answer(row: CriteriaVersion) -> CriteriaAnswer:
    return CriteriaAnswer(
        version=row.version,
        sha256=row.sha256,
        criteria=orjson.loads(row.document),
        reports=list(reports_in(row.document)),
    )


def _bound(session: Session, route: Route, version: int) -> BoundRouteAnswer:
    answer = RouteAnswer.model_validate(route)
    return BoundRouteAnswer(**dict(answer), reports=list(reports_on_route(session, route, version)))
