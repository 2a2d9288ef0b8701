"""Trials of criteria and of designs: what they would make of the records that are there."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Response
from pydantic import BeforeValidator

from service.actions.routes import trials as actions
from service.actions.routes.trials import TrialForm
from service.api.gate import ContractorOrEngineerGate, EngineerGate
from service.api.routes.design import RevisionForm
from service.api.routing import CheckedRoute, RowAnswer
from service.storage.criteria import find_trial
from service.storage.tables import CriteriaTrial
from service.vocabulary.findings.trial import TrialResult, TrialState

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["criteria"])


def _read_result(text: str | None) -> Any:
    return None if text is None else orjson.loads(text)


class TrialAnswer(RowAnswer):
    """A trial and where it is; the newest ten of a project keep their result, older ones have ended."""

    id: UUID
    route_id: UUID
    state: TrialState
    design_revision: int
    criteria_sha256: str
    requested_at: datetime
    finished_at: datetime | None
    problem: str | None
    result: Annotated[TrialResult | None, BeforeValidator(_read_result)]


@router.post("/projects/{project_id}/criteria/trial", status_code=202)
def try_criteria(gate: EngineerGate, project_id: UUID, form: TrialForm, response: Response) -> TrialAnswer:
    """Try criteria on a route's records without storing a verdict; what came of it is read at `Location`."""
    with gate.write_session_in(project_id) as (session, caller, project):
        return _accepted(actions.try_criteria(session, caller, project, form), response)


@router.post("/routes/{route_id}/design/trial", status_code=202)
def try_design(gate: ContractorOrEngineerGate, route_id: UUID, form: RevisionForm, response: Response) -> TrialAnswer:
    """Try a design revision on a route's records by its criteria, joints where it has them; read it at `Location`."""
    with gate.write_session() as (session, caller):
        return _accepted(actions.try_design(session, caller, route_id, form.revision), response)


@router.get("/trials/{trial_id}")
def read_trial(gate: ContractorOrEngineerGate, trial_id: UUID) -> TrialAnswer:
    """Read where a trial is: due, done with its result, parked with its problem, or ended."""
    with gate.read_snapshot() as (session, caller):
        return TrialAnswer.model_validate(find_trial(session, caller.projects, trial_id))


def _accepted(trial: CriteriaTrial, response: Response) -> TrialAnswer:
    response.headers["Location"] = f"/v1/trials/{trial.id}"
    response.headers["Retry-After"] = "1"
    return TrialAnswer.model_validate(trial)
