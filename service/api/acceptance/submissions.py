"""Submissions: the contractor asks to have segments accepted."""

from uuid import UUID

from fastapi import APIRouter, Response
from sqlmodel import Session

from service.actions.acceptance import submissions as actions
from service.actions.acceptance.submissions import SubmissionForm
from service.api.acceptance.forms import SubmissionAnswer
from service.api.gate import ContractorGate, PartyGate
from service.api.routing import CheckedRoute
from service.storage.packages import package_of_submission
from service.storage.submissions import find_submission
from service.storage.tables import Submission

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["submissions"])


@router.post("/routes/{route_id}/submissions", status_code=202)
def submit(gate: ContractorGate, route_id: UUID, form: SubmissionForm, response: Response) -> SubmissionAnswer:
    """Submit segments on the strength of a verdict; the package is made behind it, at `Location`."""
    with gate.write_session() as (session, caller):
        submission = actions.submit(session, caller, route_id, form)
        response.headers["Location"] = f"/v1/submissions/{submission.id}"
        response.headers["Retry-After"] = "1"
        return _answer(session, submission)


@router.get("/submissions/{submission_id}")
def read_submission(gate: PartyGate, submission_id: UUID) -> SubmissionAnswer:
    """Read where a submission is: queued, issued, decided, or parked with its problem."""
    with gate.read_snapshot() as (session, caller):
        return _answer(session, find_submission(session, caller.projects, submission_id))


def _answer(session: Session, submission: Submission) -> SubmissionAnswer:
    package = package_of_submission(session, submission)
    answer = SubmissionAnswer.model_validate(submission, from_attributes=True)
    return answer.model_copy(update={"package_id": None if package is None else package.id})
