"""Where a route is: status, findings, suspicions."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

import orjson
from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, TypeAdapter

from service.actions.acceptance.status import status_of
from service.api.cursors import MOST, read_cursor, write_cursor
from service.api.etags import answer_unless_known
from service.api.gate import ContractorOrEngineerGate, ReaderGate
from service.api.routing import CheckedRoute
from service.errors import NotFoundError
from service.storage import verdicts
from service.storage.routes import find_route, route_version, routes_of
from service.vocabulary import quantities as q
from service.vocabulary.criteria.review import CriteriaReport
from service.vocabulary.findings.finding import FibreDocument, FindingDocument, OutcomeCounts
from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.findings.words import Outcome
from service.vocabulary.words import Standing

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["status"])
_FIBRES_A_PAGE = 24
_POSITION = TypeAdapter(tuple[q.FibreNumber])


class Opening(BaseModel):
    """A closure that was opened after its segment was submitted.

    As planned where the closure is at the segment's end and another one's, that was not accepted yet: it joins the two.
    """

    site: str
    made_at: datetime
    is_planned: bool


class SegmentStatus(BaseModel):
    """Where a segment is on its way from work to money.

    Of an accepted segment `opened_since` are the closures that were opened after it was submitted, and
    `open_since_acceptance` counts the required findings that do not conform now and of which its package conceded none:
    above 0, what was accepted is not proven any more. It stays accepted: taking it back is the engineer's act.
    `has_changed_since`: the route has another verdict than the one submitted; `is_of_older_engine` says that this one
    was made by an older engine, so that it is another without any new record.
    """

    id: str
    name: str
    billing_item: str
    status: Standing
    counts: OutcomeCounts
    submission_id: UUID | None
    package_id: UUID | None
    acceptance_number: int | None
    is_released: bool
    has_changed_since: bool
    is_of_older_engine: bool
    opened_since: list[Opening]
    open_since_acceptance: int


class MissingEvidence(BaseModel):
    """Undetermined required findings of one criterion in one segment, by reason.

    Without a segment they are asked of none: the route goes on behind an end that is not built, in a later design.
    """

    segment: str | None
    criterion: str
    reason: str
    findings: int


class RouteStatus(BaseModel):
    """A route's acceptance status."""

    route_id: UUID
    code: str
    version: int
    design_revision: int
    agreed_design_revision: int | None
    proposed_design_revision: int | None
    criteria_version: int | None
    proposed_criteria_version: int | None
    is_judged: bool
    fibres_waiting: int
    judging_problem: str | None
    criteria_reports: list[CriteriaReport]
    verdict_digest: str | None
    missing: list[MissingEvidence]
    segments: list[SegmentStatus]


class ProjectStatus(BaseModel):
    """The acceptance status of every route of a project."""

    routes: list[RouteStatus]


class FindingPage(BaseModel):
    """Findings in order of fibre, those about several fibres together first."""

    items: list[FindingDocument]
    next: str | None


class SuspicionList(BaseModel):
    """What looks unlikely in honest work; none of it decides anything."""

    items: list[SuspicionDocument]


@router.get("/routes/{route_id}/acceptance", response_model=RouteStatus)
def read_acceptance(gate: ReaderGate, route_id: UUID, request: Request) -> Response:
    """Read a route's acceptance status; with a matching If-None-Match the answer is 304."""
    with gate.read_snapshot() as (session, caller):
        etag = f'"r{route_version(session, caller.projects, route_id)}"'
        return answer_unless_known(
            etag, request, lambda: orjson.dumps(status_of(session, find_route(session, caller.projects, route_id)))
        )


@router.get("/projects/{project_id}/acceptance")
def read_project_acceptance(gate: ReaderGate, project_id: UUID) -> ProjectStatus:
    """Read the acceptance status of all routes of a project."""
    with gate.read_snapshot_of(project_id) as (session, _, project):
        routes = routes_of(session, project)
        return ProjectStatus(routes=[RouteStatus.model_validate(status_of(session, route)) for route in routes])


@router.get("/routes/{route_id}/fibres/{number}", response_model=FibreDocument)
def read_fibre(gate: ReaderGate, route_id: UUID, number: q.RowNumber) -> Response:
    """Read everything judged about one fibre, as the canonical document that the verdict hashes."""
    with gate.read_snapshot() as (session, caller):
        fibre = verdicts.fibre_row(session, find_route(session, caller.projects, route_id), number)
        if fibre is None or fibre.content is None:
            raise NotFoundError(f"Fibre {number} is not there, or not judged yet.")
        return Response(fibre.content, media_type="application/json", headers={"ETag": f'"{fibre.digest}"'})


@router.get("/routes/{route_id}/findings")
def read_findings(
    gate: ReaderGate,
    route_id: UUID,
    response: Response,
    outcome: Outcome | None = None,
    segment: q.Identifier | None = None,
    cursor: str | None = None,
    limit: Annotated[int, Query(ge=1, le=MOST)] = _FIBRES_A_PAGE,
) -> FindingPage:
    """Read findings in order of fibre, on the first page those about several fibres together before them.

    `limit` counts fibres, so that a fibre is never cut in two.
    """
    of = f"findings/{route_id}/{outcome}/{segment}"
    after = 0 if cursor is None else read_cursor(cursor, of=of, form=_POSITION)[0]
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        verdict = verdicts.verdict_document(session, route) if cursor is None else None
        rows = verdicts.fibre_documents(session, route, after=after, limit=limit + 1)
    together = [] if verdict is None else verdict["findings"]
    items = [
        finding
        for findings in (together, *(orjson.loads(row.content)["findings"] for row in rows[:limit]))
        for finding in findings
        if outcome in {None, finding["outcome"]} and (segment is None or segment in finding["segments"])
    ]
    following = write_cursor([rows[limit - 1].number], of=of) if len(rows) > limit else None
    if following is not None:
        query = "".join(f"&{name}={value}" for name, value in (("outcome", outcome), ("segment", segment)) if value)
        link = f"</v1/routes/{route_id}/findings?limit={limit}{query}&cursor={following}>"
        response.headers["Link"] = f'{link}; rel="next"'
    return FindingPage(items=items, next=following)


@router.get("/routes/{route_id}/suspicions")
def read_suspicions(gate: ContractorOrEngineerGate, route_id: UUID) -> SuspicionList:
    """Read what looks unlikely in honest work, for people to ask about; it decides nothing."""
    with gate.read_snapshot() as (session, caller):
        verdict = verdicts.verdict_document(session, find_route(session, caller.projects, route_id))
    return SuspicionList(items=[] if verdict is None else verdict["suspicions"])
