"""Judge the fibres of a route that wait.

Started by: a `judge` job, due after anything that touches a fibre.
Writes: each fibre's document for the evidence version it was judged for, never over a higher one.
Leaves: itself due while a fibre still waits; the route's `settle` job due.
"""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import structlog
from sqlmodel import Session

from service.storage import jobs, verdicts
from service.storage.jobs import Lease
from service.storage.records import read_evidence
from service.storage.routes import lock_and_raise, lock_for_step
from service.storage.session import snapshot, transaction
from service.storage.verdicts import FibreVersions
from service.vocabulary.canonical import canonical_json
from service.vocabulary.states import JobKind, JobState
from worker.jobs.context import StepContext
from worker.jobs.judging import FIBRES_A_RUN, Waiting, judge_fibres, rules_in_force, spots_in_force
from worker.jobs.runner import LeftToNewerError, Step
from worker.judgement.documents.route import write_contributions, write_counts
from worker.judgement.judge import ENGINE, FibreJudgement

# A run takes one of the few places of a worker, and a splice that comes in meanwhile waits for one.
_LONGEST_RUN_S = 0.2

log = structlog.get_logger()


def run(context: StepContext, lease: Lease) -> None:
    """Judge up to 32 waiting fibres of a route, urgent ones first, as far as a run's time goes."""
    with snapshot(context.engine) as session:
        waiting = _read(session, lease)
    judged = [] if waiting is None else judge_fibres(waiting, come_forward=context.come_forward, for_s=_LONGEST_RUN_S)
    for fibre, judgement in judged:
        if judgement.problem is not None:
            log.error("fibre.not_judged", route_id=str(lease.subject_id), fibre=fibre.number, problem=judgement.problem)
    with transaction(context.engine) as session:
        _write(session, lease, judged, settle_interval=timedelta(seconds=context.settings.settle_interval_s))


STEP = Step(run=run, hard_limit_s=60, longest_pause_s=5, waits_for_ever=True)


def _read(session: Session, lease: Lease) -> Waiting | None:
    found = verdicts.waiting_route(session, lease.project_id, lease.subject_id, limit=FIBRES_A_RUN, engine=ENGINE)
    if found is None:
        return None
    if found.is_left_to_newer:
        raise LeftToNewerError
    if not found.fibres:
        return None
    by = rules_in_force(session, found.by)
    numbers = [fibre.number for fibre in found.fibres]
    evidence = read_evidence(session, lease.project_id, lease.subject_id, numbers, with_every_splice=by.voids_others)
    spots = spots_in_force(session, found.by, by)
    return Waiting(fibres=found.fibres, evidence=evidence, by=by, spots=spots)


def _write(
    session: Session,
    lease: Lease,
    judged: Sequence[tuple[FibreVersions, FibreJudgement]],
    *,
    settle_interval: timedelta,
) -> None:
    # The route first, as everywhere, the job last: whoever lost the lease learns it there, and nothing of this stays.
    lock = lock_and_raise if judged else lock_for_step
    route = lock(session, lease.project_id, lease.subject_id)
    where = {"project_id": lease.project_id, "route_id": lease.subject_id}
    if judged:
        rows = [_row(fibre, judgement) for fibre, judgement in judged]
        verdicts.keep_judged(session, lease.project_id, lease.subject_id, rows, engine=ENGINE)
        jobs.make_due_at(
            session,
            JobKind.SETTLE,
            project_id=lease.project_id,
            subject_id=lease.subject_id,
            due_at=verdicts.next_settling(**where, interval=settle_interval),
        )
    if route.criteria_version is None:
        jobs.release(session, lease, JobState.IDLE)
    else:
        # Looked at under the route's lock: what was recorded while this run judged makes the job due again here, for
        # whoever records leaves a leased job alone.
        jobs.release_unless(session, lease, verdicts.fibre_waits(**where))


def _row(fibre: FibreVersions, judgement: FibreJudgement) -> dict[str, Any]:
    work, contributions = judgement.work, judgement.contributions
    return {
        "fibre": fibre.number,
        "read_version": fibre.evidence_version,
        "new_digest": judgement.digest,
        "new_content": judgement.content.decode(),
        "new_work": canonical_json(work).decode() if work else None,
        "new_counts": write_counts(judgement.counts),
        "new_missing": [list(row) for row in judgement.missing],
        "new_figures": None if contributions is None else write_contributions(contributions),
        "new_problem": judgement.problem,
    }
