"""Try other criteria on a route's records: no verdict is stored, no fibre and no version touched."""

from uuid import UUID, uuid4

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.actions.caller import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError
from service.storage.head import record_deed
from service.storage.jobs import JobKind, make_due
from service.storage.routes import lock_route
from service.storage.tables import CriteriaTrial, Project, Route
from service.vocabulary import quantities as q
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.rules import Fault
from service.vocabulary.findings.trial import TrialState

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
    unfinished = _unfinished(session, route)
    if unfinished is not None:
        if unfinished.criteria_sha256 == sha256:
            return unfinished
        raise ConflictError("Another trial on this route goes on.", headers={"Retry-After": "1"})
    _end_old_trials(session, project)
    trial = CriteriaTrial(
        project_id=project.id,
        id=uuid4(),
        route_id=route.id,
        design_revision=route.design_revision,
        criteria=document.decode(),
        criteria_sha256=sha256,
        state=TrialState.DUE.value,
        requested_at=caller.now,
        token_id=caller.token_id,
    )
    session.add(trial)
    session.flush()
    make_due(session, JobKind.TRIAL, project_id=project.id, subject_id=trial.id)
    record_deed(session, project.id, caller.deed("criteria.tried", trial.id, content_sha256=sha256))
    return trial


def find_trial(session: Session, caller: Caller, trial_id: UUID) -> CriteriaTrial:
    """Return a trial of the caller's projects."""
    statement = select(CriteriaTrial).where(CriteriaTrial.id == trial_id)
    if caller.projects is not None:
        statement = statement.where(col(CriteriaTrial.project_id).in_(caller.projects))
    trial = session.exec(statement).one_or_none()
    if trial is None:
        raise NotFoundError(f"No trial {trial_id}.")
    return trial


def _lock_own_route(session: Session, project: Project, route_id: UUID) -> Route:
    # Its lock lets one request at a time look whether a trial goes on; the route stays as it is.
    try:
        return lock_route(session, [project.id], route_id)
    except NotFoundError as error:
        fault = Fault(pointer="/route_id", detail="is not a route of this project")
        raise BodyInvalidError("The trial names what is not there.", faults=[fault]) from error


def _unfinished(session: Session, route: Route) -> CriteriaTrial | None:
    statement = select(CriteriaTrial).where(
        CriteriaTrial.project_id == route.project_id,
        CriteriaTrial.route_id == route.id,
        CriteriaTrial.state == TrialState.DUE.value,
    )
    return session.exec(statement).first()


def _end_old_trials(session: Session, project: Project) -> None:
    """Empty all but the newest finished trials, so that with the new one as many are kept as may be."""
    finished = (
        select(CriteriaTrial.id)
        .where(
            CriteriaTrial.project_id == project.id,
            col(CriteriaTrial.state).in_([TrialState.DONE.value, TrialState.PARKED.value]),
        )
        .order_by(col(CriteriaTrial.requested_at).desc(), col(CriteriaTrial.id))
    )
    # A row that another request has locked is being emptied already; to wait for several is to risk a deadlock.
    old = session.exec(finished.offset(KEPT_TRIALS - 1).with_for_update(skip_locked=True)).all()
    session.execute(
        update(CriteriaTrial)
        .where(col(CriteriaTrial.project_id) == project.id, col(CriteriaTrial.id).in_(old))
        .values(state=TrialState.ENDED.value, criteria=None, progress=None, result=None)
    )
