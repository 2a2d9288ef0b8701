"""Judge the fibres of a route that wait.

Started by: a `judge` job, due after anything that touches a fibre.
Writes: each fibre's document for the evidence version it was judged for, never over a higher one.
Leaves: itself due while a fibre still waits; the route's `settle` job due.
"""

import traceback
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from typing import Any

import orjson
import structlog
from sqlalchemy import bindparam, update
from sqlmodel import Session, col

from service.storage import jobs, verdicts
from service.storage.jobs import JobKind, JobState, Lease
from service.storage.records import StoredEvidence, read_evidence
from service.storage.routes import (
    criteria_row,
    find_route,
    layout_of,
    lock_route,
    parse_criteria,
    raise_version,
)
from service.storage.session import snapshot, transaction
from service.storage.tables import WHOLE_SITE, Fibre, Route
from service.storage.verdicts import FibreVersions
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria import Criteria, Voiding
from service.vocabulary.layout import Layout
from worker.judgement.evidence import Evidence
from worker.judgement.judge import ENGINE, FibreJudgement, Rules, prepare
from worker.judgement.missing import missing_of
from worker.judgement.unjudged import unjudged
from worker.steps.context import StepContext
from worker.steps.running import HopelessError, LeftToNewerError, Step

# Enough to be quick, few enough that a splice that comes in meanwhile is judged within the second.
FIBRES_A_RUN = 64
_KEPT_PARSED = 256

log = structlog.get_logger()


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """What a run reads: which fibres, for which versions, from which records, by which rules."""

    fibres: Sequence[FibreVersions]
    evidence: Sequence[StoredEvidence]
    layout: Layout
    criteria: Criteria


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


def judge_fibres(waiting: Waiting, *, come_forward: Callable[[], None]) -> list[tuple[FibreVersions, FibreJudgement]]:
    """Judge fibres from what was read, with no transaction open."""
    rules = prepare(waiting.layout, waiting.criteria)
    evidence = EvidenceByFibre(waiting.evidence, every_fibre_has_all=_voids_closures(waiting.criteria))
    judged = []
    for fibre in waiting.fibres:
        judged.append((fibre, judge_alone(rules, evidence, waiting.layout, fibre=fibre.number)))
        come_forward()
    return judged


def judge_alone(rules: Rules, evidence: "EvidenceByFibre", layout: Layout, *, fibre: int) -> FibreJudgement:
    """Judge one fibre; where that fails, the fibre says so and no other fibre suffers."""
    try:
        return rules.judge(fibre, evidence.of(fibre))
    except (HopelessError, MemoryError):
        raise
    # Whatever it is. Judging is pure, so that another attempt would end the same: the job would be given up, and one
    # record would keep every fibre of the route from being judged.
    except Exception as error:  # noqa: BLE001
        return unjudged(layout, fibre=fibre, problem=_problem_of(error, altered=evidence.count_altered(fibre)))


class EvidenceByFibre:
    """Records handed to each fibre that they are about, parsed when the first of them asks for it.

    Those about whole sites are kept parsed, of the others the latest: enough for the fibres of a ribbon, which follow
    each other, and little enough for the records of a whole route.
    """

    def __init__(self, stored: Iterable[StoredEvidence], *, every_fibre_has_all: bool) -> None:
        self._by_fibre: dict[int, list[StoredEvidence]] = {}
        for one in stored:
            for fibre in {WHOLE_SITE} if every_fibre_has_all else one.fibres:
                self._by_fibre.setdefault(fibre, []).append(one)
        self._parse = lru_cache(maxsize=len(self._by_fibre.get(WHOLE_SITE, ())) + _KEPT_PARSED)(_parse)

    def of(self, fibre: int) -> list[Evidence]:
        """Return a fibre's own records and those about whole sites."""
        return [self._parse(one.body, one.is_ended, one.clock_is_flagged) for one in self._stored_of(fibre)]

    def count_altered(self, fibre: int) -> int:
        """Return how many of a fibre's records no longer have the content that was hashed when they came."""
        bodies = {one.body: one.sha256 for one in self._stored_of(fibre)}
        return sum(sha256_hex(body.encode()) != sha256 for body, sha256 in bodies.items())

    def _stored_of(self, fibre: int) -> list[StoredEvidence]:
        return self._by_fibre.get(fibre, []) + self._by_fibre.get(WHOLE_SITE, [])


def _parse(body: str, is_ended: bool, clock_is_flagged: bool) -> Evidence:
    return Evidence(body=orjson.loads(body), is_ended=is_ended, clock_is_flagged=clock_is_flagged)


def _problem_of(error: Exception, *, altered: int) -> str:
    """Say what kind of fault it was and where, and nothing of the records: an error's own words may repeat them."""
    frames = [frame for frame, _ in traceback.walk_tb(error.__traceback__)]
    place = frames[-1].f_globals.get("__name__", "")
    said = f"{type(error).__name__} in {place}"
    return f"{said}; {altered} of its records are not what was hashed when they came" if altered else said


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
    evidence = read_evidence(session, route, numbers, with_every_splice=_voids_closures(criteria))
    return Waiting(fibres=fibres, evidence=evidence, layout=layout_of(session, route), criteria=criteria)


def _voids_closures(criteria: Criteria) -> bool:
    return criteria.rework_voids is Voiding.CLOSURE


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
