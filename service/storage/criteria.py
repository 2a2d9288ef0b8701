"""Criteria by version, and the trials of others: what would come of them, stored nowhere as a verdict."""

from collections.abc import Collection, Mapping
from functools import lru_cache
from uuid import UUID

from sqlalchemy import func, update
from sqlmodel import Session, col, select

from service.storage.rows import by_id, keep_at_hand, of_route, required
from service.storage.tables import CriteriaTrial, CriteriaVersion, Route
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.findings.trial import TrialState
from service.vocabulary.quantities import read_canonical


def find_criteria(session: Session, project_id: UUID, version: int) -> CriteriaVersion | None:
    """Return a version of a project's criteria; None where there is none."""
    return session.get(CriteriaVersion, (project_id, version))


def criteria_row(session: Session, project_id: UUID, version: int) -> CriteriaVersion:
    """Return the row of a project's criteria version."""
    row = required(find_criteria(session, project_id, version), "criteria version", version)
    keep_at_hand(session, row)
    return row


def criteria_of(session: Session, project_id: UUID, version: int) -> Criteria:
    """Return a project's criteria of a version."""
    return parse_criteria(criteria_row(session, project_id, version).document)


# Rows never change, so what their text says may be kept.
@lru_cache(maxsize=128)
def parse_criteria(document: str) -> Criteria:
    """Return the criteria of their canonical text."""
    return read_canonical(Criteria, document)


def newest_criteria(session: Session, project_id: UUID) -> CriteriaVersion | None:
    """Return the newest version of a project's criteria; None where none was set."""
    of_project = select(CriteriaVersion).where(CriteriaVersion.project_id == project_id)
    return session.exec(of_project.order_by(col(CriteriaVersion.version).desc()).limit(1)).first()


def find_trial(session: Session, projects: Collection[UUID] | None, trial_id: UUID) -> CriteriaTrial:
    """Return a trial of the caller's projects."""
    return required(session.exec(by_id(CriteriaTrial, projects, trial_id)).one_or_none(), "trial", trial_id)


def unfinished_trial(session: Session, route: Route) -> CriteriaTrial | None:
    """Return the trial that goes on on a route, under its lock."""
    statement = select(CriteriaTrial).where(*of_route(CriteriaTrial, route), CriteriaTrial.state == TrialState.DUE)
    return session.exec(statement).first()


def empty_old_trials(session: Session, project_id: UUID, *, kept: int) -> None:
    """Take criteria and results from all but the newest finished trials of a project."""
    finished = (
        select(CriteriaTrial.id)
        .where(
            CriteriaTrial.project_id == project_id,
            col(CriteriaTrial.state).in_([TrialState.DONE, TrialState.PARKED]),
        )
        .order_by(col(CriteriaTrial.requested_at).desc(), col(CriteriaTrial.id))
    )
    # A row that another request has locked is being emptied already; to wait for several is to risk a deadlock.
    old = session.exec(finished.offset(kept).with_for_update(skip_locked=True)).all()
    session.execute(
        update(CriteriaTrial)
        .where(col(CriteriaTrial.project_id) == project_id, col(CriteriaTrial.id).in_(old))
        .values(state=TrialState.ENDED, criteria=None, progress=None, result=None)
    )


def write_trial(session: Session, project_id: UUID, trial_id: UUID, values: Mapping[str, object]) -> None:
    """Write how far a trial is, or what came of it."""
    is_it = col(CriteriaTrial.project_id) == project_id, col(CriteriaTrial.id) == trial_id
    session.execute(update(CriteriaTrial).where(*is_it).values(**values))


def give_trial_up(session: Session, project_id: UUID, trial_id: UUID, problem: str) -> None:
    """Say why a trial was given up."""
    values = {"state": TrialState.PARKED, "problem": problem, "progress": None, "finished_at": func.now()}
    write_trial(session, project_id, trial_id, values)
