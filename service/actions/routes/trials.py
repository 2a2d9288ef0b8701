"""Try other criteria, or another design, on a route's records: no verdict is stored, no fibre and no version touched.

Started by: the engineer; a design revision's by the contractor too, who proposed it.
Writes: the trial, and room for it among the project's finished ones; one audit entry.
Leaves: the trial's `trial` job due.
"""

from typing import NamedTuple
from uuid import UUID, uuid4

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError
from service.storage import jobs, routes
from service.storage.criteria import criteria_row, empty_old_trials, unfinished_trial
from service.storage.routes import find_revision
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
    """Ask for a trial of criteria; the same again while it goes on gives the one that is there."""
    route = _lock_own_route(session, project, form.route_id)
    document = canonical_json(form.criteria.model_dump(exclude_none=True))
    tried = _Tried(route.design_revision, document.decode(), sha256_hex(document))
    return _try(session, caller, route, tried, action="criteria.tried", content_sha256=tried.criteria_sha256)


def try_design(session: Session, caller: Caller, route_id: UUID, revision: int) -> CriteriaTrial:
    """Ask for a trial of a design revision by the criteria in force, as `try_criteria` does."""
    route = routes.lock_route(session, caller.projects, route_id)
    sha256 = find_revision(session, route, revision).row.sha256
    if route.criteria_version is None:
        raise ConflictError("The route has no criteria yet: there is nothing to judge a design by.")
    criteria = criteria_row(session, route.project_id, route.criteria_version)
    tried = _Tried(revision, criteria.document, criteria.sha256)
    return _try(session, caller, route, tried, action="design.tried", content_sha256=sha256)


class _Tried(NamedTuple):
    """What a route is judged by in a trial."""

    design_revision: int
    criteria: str
    criteria_sha256: str


def _try(
    session: Session, caller: Caller, route: Route, tried: _Tried, *, action: str, content_sha256: str
) -> CriteriaTrial:
    unfinished = unfinished_trial(session, route)
    if unfinished is not None:
        if (unfinished.design_revision, unfinished.criteria_sha256) == (tried.design_revision, tried.criteria_sha256):
            return unfinished
        raise ConflictError("Another trial on this route goes on.", headers={"Retry-After": "1"})
    empty_old_trials(session, route.project_id, kept=KEPT_TRIALS - 1)
    trial = CriteriaTrial(
        project_id=route.project_id,
        id=uuid4(),
        route_id=route.id,
        **tried._asdict(),
        state=TrialState.DUE,
        requested_at=caller.now,
        token_id=caller.token_id,
    )
    add_rows(session, [trial])
    jobs.make_due(session, JobKind.TRIAL, project_id=route.project_id, subject_id=trial.id)
    caller.append_audit(session, route.project_id, action, trial.id, content_sha256=content_sha256)
    return trial


def _lock_own_route(session: Session, project: Project, route_id: UUID) -> Route:
    # Its lock lets one request at a time look whether a trial goes on; the route stays as it is.
    try:
        return routes.lock_route(session, [project.id], route_id)
    except NotFoundError as error:
        fault = Fault(pointer="/route_id", detail="is not a route of this project")
        raise BodyInvalidError("The trial names what is not there.", faults=[fault]) from error
