"""A raised engine: routes that an older one judged are judged anew by themselves, one at a time.

One, so that however many there are they take one of all workers' places: what crews record meanwhile finds the others
free.
"""

from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, and_, exists, text, update
from sqlalchemy import select as plain_select
from sqlmodel import Session, col

from service.storage import jobs
from service.storage.routes import lock_and_raise
from service.storage.rows import of_route
from service.storage.tables import Fibre, Job, Route, StandingVerdict
from service.vocabulary.states import JobKind, JobState

# Never waited for: who does not get it looks again later.
_TRY_LOCK = text("SELECT pg_try_advisory_xact_lock(hashtextextended('renewal', 0))")


def start_next(session: Session, *, engine: int) -> UUID | None:
    """Make a route that an older engine judged due to be settled, where its age is found out; None where none is next.

    While any such route is under way none is: it follows when that one has its verdict.
    """
    under_way = _older_routes(engine).where(_has_job(JobState.DUE, JobState.LEASED, JobState.WAITING)).limit(1)
    if not session.execute(_TRY_LOCK).scalar_one() or session.execute(under_way).first() is not None:
        return None
    is_older = and_(*of_route(Fibre, Route), col(Fibre.digest).is_not(None), col(Fibre.engine_version) < engine)
    older = _older_routes(engine).where(exists().where(is_older)).order_by(col(Route.id))
    found = session.execute(older.limit(1)).first()
    if found is None:
        return None
    jobs.make_due(session, JobKind.SETTLE, project_id=found.project_id, subject_id=found.id)
    route_id: UUID = found.id
    return route_id


def renew(session: Session, project_id: UUID, route_id: UUID, *, engine: int) -> bool:
    """Let those fibres of a locked route wait to be judged that an older engine judged; older programs leave them.

    False, and nothing is done, while another route's do.
    """
    waits = col(Fibre.digest).is_not(None), col(Fibre.judged_version) < col(Fibre.evidence_version)
    is_begun = exists().where(*of_route(Fibre, Route), *waits, col(Fibre.engine_version) >= engine)
    others = _older_routes(engine).where(col(Route.id) != route_id, is_begun, ~_has_job(JobState.PARKED))
    if not session.execute(_TRY_LOCK).scalar_one() or session.execute(others.limit(1)).first() is not None:
        return False
    older = update(Fibre).where(
        col(Fibre.project_id) == project_id,
        col(Fibre.route_id) == route_id,
        col(Fibre.digest).is_not(None),
        col(Fibre.engine_version) < engine,
    )
    version = lock_and_raise(session, project_id, route_id).version
    session.execute(older.values(evidence_version=version, engine_version=engine))
    jobs.make_due(session, JobKind.JUDGE, project_id=project_id, subject_id=route_id)
    return True


def _older_routes(engine: int) -> Select[Any]:
    """Return the statement for the routes whose verdict an older engine made."""
    return (
        plain_select()
        .add_columns(col(Route.project_id), col(Route.id))
        .join_from(Route, StandingVerdict, and_(*of_route(StandingVerdict, Route)))
        .where(col(StandingVerdict.engine_version) < engine)
    )


def _has_job(*states: JobState) -> ColumnElement[bool]:
    kinds = col(Job.kind).in_([JobKind.JUDGE, JobKind.SETTLE])
    return exists().where(col(Job.subject_id) == col(Route.id), kinds, col(Job.state).in_(states))
