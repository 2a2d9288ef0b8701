"""Submissions: the contractor asks to have segments accepted."""

from datetime import datetime
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Response
from sqlmodel import Session

from service.actions.acceptance import submissions as actions
from service.actions.acceptance.submissions import SubmissionForm
from service.api.gate import ContractorGate, ContractorOrEngineerGate
from service.api.routing import CheckedRoute, RowAnswer
from service.storage import packages, submissions
from service.storage.tables import Submission
from service.vocabulary.signatures import SignedBy

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["submissions"])


class SubmissionAnswer(RowAnswer):
    """A submission and where it is."""

    id: UUID
    route_id: UUID
    number: int
    state: str
    segments: list[str]
    verdict_digest: str
    engine_version: int
    design_revision: int
    criteria_version: int
    concessions: list[dict[str, Any]]
    responsible_person: str
    signature: SignedBy
    submitted_at: datetime
    problem: str | None
    package_id: UUID | None = None


@router.post("/routes/{route_id}/submissions", status_code=202)
def submit(gate: ContractorGate, route_id: UUID, form: SubmissionForm, response: Response) -> SubmissionAnswer:
    """Submit segments on the strength of a verdict; the package is made behind it, at `Location`."""
    with gate.write_session() as (session, caller):
        submission = actions.submit(session, caller, route_id, form)
        response.headers["Location"] = f"/v1/submissions/{submission.id}"
        response.headers["Retry-After"] = "1"
        return _answer(session, submission)


@router.get("/submissions/{submission_id}")
def read_submission(gate: ContractorOrEngineerGate, submission_id: UUID) -> SubmissionAnswer:
    """Read where a submission is: queued, issued, decided, or parked with its problem."""
    with gate.read_snapshot() as (session, caller):
        return _answer(session, submissions.find_submission(session, caller.projects, submission_id))


def _answer(session: Session, submission: Submission) -> SubmissionAnswer:
    package = packages.package_of_submission(session, submission)
    answer = SubmissionAnswer.model_validate(submission)
    return answer.model_copy(update={"package_id": None if package is None else package.id})
