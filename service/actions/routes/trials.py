"""Try other criteria on a route's records: no verdict is stored, no fibre and no version touched.

Started by: the engineer.
Writes: the trial, and room for it among the project's finished ones; one audit entry.
Leaves: the trial's `trial` job due.
"""

from uuid import UUID, uuid4

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError
from service.storage import jobs, routes
from service.storage.criteria import empty_old_trials, unfinished_trial
from service.storage.session import add_rows
from service.storage.tables import CriteriaTrial, Project, Route
from service.vocabulary import quantities as q
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.findings.trial import TrialState
from service.vocabulary.states import JobKind
from service.vocabulary.validation import Fault

# Of each project; what an older one gave is a few seconds' work to get again.
KEPT_TRIALS = 10


class TrialForm(q.Value):
    """Which criteria to try on which route."""

    route_id: UUID
    criteria: Criteria


def try_criteria(session: Session, caller: Caller, project: Project, form: TrialForm) -> CriteriaTrial:
    """Ask for a trial; the same again while it goes on gives the one that is there."""
    route = _lock_own_route(session, project, form.route_id)
    document = canonical_json(form.criteria.model_dump(exclude_none=True))
    sha256 = sha256_hex(document)
    unfinished = unfinished_trial(session, route)
    if unfinished is not None:
        if unfinished.criteria_sha256 == sha256:
            return unfinished
        raise ConflictError("Another trial on this route goes on.", headers={"Retry-After": "1"})
    empty_old_trials(session, project.id, kept=KEPT_TRIALS - 1)
    trial = CriteriaTrial(
        project_id=project.id,
        id=uuid4(),
        route_id=route.id,
        design_revision=route.design_revision,
        criteria=document.decode(),
        criteria_sha256=sha256,
        state=TrialState.DUE,
        requested_at=caller.now,
        token_id=caller.token_id,
    )
    add_rows(session, [trial])
    jobs.make_due(session, JobKind.TRIAL, project_id=project.id, subject_id=trial.id)
    caller.append_audit(session, project.id, "criteria.tried", trial.id, content_sha256=sha256)
    return trial


def _lock_own_route(session: Session, project: Project, route_id: UUID) -> Route:
    # Its lock lets one request at a time look whether a trial goes on; the route stays as it is.
    try:
        return routes.lock_route(session, [project.id], route_id)
    except NotFoundError as error:
        fault = Fault(pointer="/route_id", detail="is not a route of this project")
        raise BodyInvalidError("The trial names what is not there.", faults=[fault]) from error
