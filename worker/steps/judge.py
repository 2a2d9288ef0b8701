"""Judge the fibres of a route that wait.

Started by: a `judge` job, due after anything that touches a fibre.
Writes: each fibre's document for the evidence version it was judged for, never over a higher one.
Leaves: itself due while a fibre still waits; the route's `settle` job due.
"""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import structlog
from sqlalchemy import bindparam, update
from sqlmodel import Session, col

from service.storage import jobs, verdicts
from service.storage.jobs import JobKind, JobState, Lease
from service.storage.records import read_evidence
from service.storage.routes import (
    criteria_row,
    find_route,
    layout_of,
    lock_route,
    parse_criteria,
    raise_version,
)
from service.storage.session import snapshot, transaction
from service.storage.tables import Fibre, Route
from service.storage.verdicts import FibreVersions
from service.vocabulary.canonical import canonical_json
from worker.jobs.context import StepContext
from worker.jobs.judging import FIBRES_A_RUN, Waiting, judge_fibres, voids_closures
from worker.jobs.runner import LeftToNewerError, Step
from worker.judgement.judge import ENGINE, FibreJudgement
from worker.judgement.route.missing import missing_of

log = structlog.get_logger()


def run(context: StepContext, lease: Lease) -> None:
    """Judge up to 64 waiting fibres of a route, urgent ones first."""
    with snapshot(context.engine) as session:
        waiting = _read(session, lease)
    judged = [] if waiting is None else judge_fibres(waiting, come_forward=context.come_forward)
    for fibre, judgement in judged:
        if judgement.problem is not None:
            log.error("fibre.not_judged", route_id=str(lease.subject_id), fibre=fibre.number, problem=judgement.problem)
    with transaction(context.engine) as session:
        _write(session, lease, judged, context)


STEP = Step(run=run, hard_limit_s=60, longest_pause_s=5, waits_for_ever=True)


def _read(session: Session, lease: Lease) -> Waiting | None:
    route = find_route(session, [lease.project_id], lease.subject_id)
    if route.criteria_version is None:
        return None
    criteria = parse_criteria(criteria_row(session, route.project_id, route.criteria_version).document)
    fibres = verdicts.waiting_fibres(session, route, limit=FIBRES_A_RUN, engine=ENGINE)
    if not fibres and verdicts.count_waiting(session, route) > 0:
        raise LeftToNewerError
    if not fibres:
        return None
    numbers = [fibre.number for fibre in fibres]
    evidence = read_evidence(session, route, numbers, with_every_splice=voids_closures(criteria))
    return Waiting(fibres=fibres, evidence=evidence, layout=layout_of(session, route), criteria=criteria)


def _write(
    session: Session, lease: Lease, judged: Sequence[tuple[FibreVersions, FibreJudgement]], context: StepContext
) -> None:
    route = lock_route(session, [lease.project_id], lease.subject_id)
    jobs.hold(session, lease)
    if judged:
        _keep(session, route, judged)
        raise_version(route)
        delay = _until_next_settling(session, route, context)
        jobs.make_due(session, JobKind.SETTLE, project_id=route.project_id, subject_id=route.id, delay=delay)
    session.flush()
    still_waits = route.criteria_version is not None and verdicts.count_waiting(session, route) > 0
    jobs.release(session, lease, JobState.DUE if still_waits else JobState.IDLE)


def _keep(session: Session, route: Route, judged: Sequence[tuple[FibreVersions, FibreJudgement]]) -> None:
    statement = (
        update(Fibre)
        .where(
            col(Fibre.project_id) == route.project_id,
            col(Fibre.route_id) == route.id,
            col(Fibre.number) == bindparam("fibre"),
            col(Fibre.judged_version) < bindparam("read_version"),
            col(Fibre.engine_version) <= ENGINE,
        )
        .values(
            judged_version=bindparam("read_version"),
            engine_version=ENGINE,
            is_urgent=col(Fibre.is_urgent) & (col(Fibre.evidence_version) > bindparam("read_version")),
            digest=bindparam("new_digest"),
            content=bindparam("new_content"),
            work=bindparam("new_work"),
            counts=bindparam("new_counts"),
            missing=bindparam("new_missing"),
            figures=bindparam("new_figures"),
            problem=bindparam("new_problem"),
        )
    )
    session.connection().execute(statement, [_row(fibre, judgement) for fibre, judgement in judged])


def _row(fibre: FibreVersions, judgement: FibreJudgement) -> dict[str, Any]:
    work = judgement.document["work"]
    return {
        "fibre": fibre.number,
        "read_version": fibre.evidence_version,
        "new_digest": judgement.digest,
        "new_content": judgement.content.decode(),
        "new_work": canonical_json(work).decode() if work else None,
        "new_counts": judgement.counts,
        "new_missing": missing_of(judgement.document["findings"]),
        "new_figures": judgement.figures,
        "new_problem": judgement.problem,
    }


def _until_next_settling(session: Session, route: Route, context: StepContext) -> timedelta:
    standing = verdicts.standing_verdict(session, route)
    if standing is None:
        return timedelta()
    interval = timedelta(seconds=context.settings.settle_interval_s)
    since: timedelta = context.clock() - standing.settled_at
    return max(timedelta(), min(interval, interval - since))
