"""Routes: described once, their design revised by number, in force as the engineer agrees to it."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Header, Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from service.actions.acceptance.design_effects import DesignEffects, effects_of
from service.actions.routes import agreement
from service.actions.routes import design as actions
from service.actions.routes.agreement import DesignRefusalForm
from service.api.gate import ContractorGate, ContractorOrEngineerGate, EngineerGate, ReaderGate
from service.api.routing import CheckedRoute, RowAnswer
from service.errors import PreconditionMissingError
from service.storage.routes import design_etag, design_row, find_revision, find_route, newest_revision, parse_design
from service.storage.tables import Route
from service.vocabulary import quantities as q
from service.vocabulary.design.design import Design
from service.vocabulary.states import RevisionState

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["routes"])


class RouteAnswer(RowAnswer):
    """A route and what binds it: it is judged by `design_revision`, and paid by it once that is agreed."""

    id: UUID
    project_id: UUID
    code: str
    version: int
    design_revision: int
    agreed_design_revision: int | None
    proposed_design_revision: int | None
    criteria_version: int | None
    proposed_criteria_version: int | None


class Refusal(BaseModel):
    """That the engineer refused the newest revision, and why."""

    revision: int
    reason: str | None
    refused_at: datetime


class DesignAnswer(BaseModel):
    """The design that a route is judged by, as it is kept: canonical, its quantities as decimal strings."""

    revision: int
    sha256: str
    agreed_revision: int | None
    proposed_revision: int | None
    refusal: Refusal | None
    design: dict[str, Any]


class RevisionAnswer(BaseModel):
    """A design revision, where it is, and while it is proposed what it would unsettle."""

    revision: int
    sha256: str
    state: RevisionState
    is_in_force: bool
    proposed_at: datetime
    replied_at: datetime | None
    reason: str | None
    effects: DesignEffects | None
    design: dict[str, Any]


class RevisionForm(q.Value):
    """A design revision, by its number."""

    revision: Annotated[q.RowNumber, Field(strict=True)]


@router.post("/projects/{project_id}/routes", status_code=201)
def describe_route(gate: ContractorGate, project_id: UUID, form: Design, response: Response) -> RouteAnswer:
    """Describe a route; the same again answers 200 with the one that is there. Its design waits to be agreed to."""
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
def read_design(gate: ReaderGate, route_id: UUID, response: Response) -> DesignAnswer:
    """Read the design that a route is judged by; whoever proposes another sends its ETag."""
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        row, newest = design_row(session, route), newest_revision(session, route)
        reply = newest.reply if newest.state is RevisionState.REFUSED else None
        response.headers["ETag"] = design_etag(route, newest)
        return DesignAnswer(
            revision=row.revision,
            sha256=row.sha256,
            agreed_revision=route.agreed_design_revision,
            proposed_revision=route.proposed_design_revision,
            refusal=None
            if reply is None
            else Refusal(revision=reply.revision, reason=reply.reason, refused_at=reply.replied_at),
            design=orjson.loads(row.document),
        )


@router.put("/routes/{route_id}/design")
def propose_design(
    gate: ContractorGate,
    route_id: UUID,
    form: Design,
    response: Response,
    if_match: Annotated[str | None, Header(description="The ETag of the design that was seen.")] = None,
) -> RouteAnswer:
    """Propose a revision; the route is judged by it once the engineer agrees, records keep their place.

    Before any was agreed to it is judged by at once. The agreed design again takes back what is proposed.
    """
    if if_match is None:
        raise PreconditionMissingError("Send If-Match with the ETag of the design that was seen.")
    with gate.write_session() as (session, caller):
        route = actions.propose_design(session, caller, route_id, form, etag=if_match)
        return _tagged(session, route, response)


@router.post("/routes/{route_id}/design/effects")
def preview_design(gate: ContractorOrEngineerGate, route_id: UUID, form: Design) -> DesignEffects:
    """Tell what a design would unsettle, were it in force now; nothing is stored and nothing judged."""
    document = actions.checked_design(form)
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        actions.refuse_another_shape(session, route, form)
        return effects_of(session, route, parse_design(document.decode()))


@router.put("/routes/{route_id}/design/agreement")
def agree_design(gate: EngineerGate, route_id: UUID, form: RevisionForm, response: Response) -> RouteAnswer:
    """Agree to the revision that is proposed: from now on the route is judged and paid by it."""
    with gate.write_session() as (session, caller):
        return _tagged(session, agreement.agree_design(session, caller, route_id, form.revision), response)


@router.put("/routes/{route_id}/design/refusal")
def refuse_design(gate: EngineerGate, route_id: UUID, form: DesignRefusalForm, response: Response) -> RouteAnswer:
    """Refuse the revision that is proposed, with the reason: what is in force stays."""
    with gate.write_session() as (session, caller):
        return _tagged(session, agreement.refuse_design(session, caller, route_id, form), response)


@router.get("/routes/{route_id}/design/{revision}")
def read_revision(gate: ReaderGate, route_id: UUID, revision: q.RowNumber) -> RevisionAnswer:
    """Read a design revision: proposed, agreed, refused or withdrawn; one that is proposed with its effects."""
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        row, reply, state = find_revision(session, route, revision)
        is_proposed = state is RevisionState.PROPOSED
        return RevisionAnswer(
            revision=row.revision,
            sha256=row.sha256,
            state=state,
            is_in_force=row.revision == route.design_revision,
            proposed_at=row.created_at,
            replied_at=None if reply is None else reply.replied_at,
            reason=None if reply is None else reply.reason,
            effects=effects_of(session, route, parse_design(row.document)) if is_proposed else None,
            design=orjson.loads(row.document),
        )


def _tagged(session: Session, route: Route, response: Response) -> RouteAnswer:
    response.headers["ETag"] = design_etag(route, newest_revision(session, route))
    return RouteAnswer.model_validate(route)
