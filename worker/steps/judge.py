"""Judge the fibres of a route that wait.

Started by: a `judge` job, due after anything that touches a fibre.
Writes: each fibre's document for the evidence version it was judged for, never over a higher one.
Leaves: itself due while a fibre still waits; the route's `settle` job due.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import orjson
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
from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria import Criteria, Voiding
from service.vocabulary.layout import Layout
from service.vocabulary.words import Force, Outcome
from worker.judgement.evidence import Evidence
from worker.judgement.judge import FibreJudgement, prepare
from worker.steps.context import StepContext
from worker.steps.running import Step

# Enough to be quick, few enough that a splice that comes in meanwhile is judged within the second.
FIBRES_A_RUN = 64


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
    judged = [] if waiting is None else judge_fibres(waiting)
    with transaction(context.engine) as session:
        _write(session, lease, judged, context)


STEP = Step(run=run, lease_s=lambda context: context.settings.judge_lease_s)


def judge_fibres(waiting: Waiting) -> list[tuple[FibreVersions, FibreJudgement]]:
    """Judge fibres from what was read, with no transaction open."""
    rules = prepare(waiting.layout, waiting.criteria)
    evidence = EvidenceByFibre(waiting.evidence, every_fibre_has_all=_voids_closures(waiting.criteria))
    return [(fibre, rules.judge(fibre.number, evidence.of(fibre.number))) for fibre in waiting.fibres]


class EvidenceByFibre:
    """Records parsed once and handed to each fibre that they are about."""

    def __init__(self, stored: Iterable[StoredEvidence], *, every_fibre_has_all: bool) -> None:
        self._by_fibre: dict[int, list[Evidence]] = {}
        parsed: dict[str, Evidence] = {}
        for one in stored:
            if one.body not in parsed:
                parsed[one.body] = Evidence(
                    body=orjson.loads(one.body), is_ended=one.is_ended, clock_is_flagged=one.clock_is_flagged
                )
            fibre = WHOLE_SITE if every_fibre_has_all else one.fibre
            self._by_fibre.setdefault(fibre, []).append(parsed[one.body])
        self.all = list(parsed.values())

    def of(self, fibre: int) -> list[Evidence]:
        """Return a fibre's own records and those about whole sites."""
        return self._by_fibre.get(fibre, []) + self._by_fibre.get(WHOLE_SITE, [])


def _read(session: Session, lease: Lease) -> Waiting | None:
    route = find_route(session, [lease.project_id], lease.subject_id)
    if route.criteria_version is None:
        return None
    criteria = parse_criteria(criteria_row(session, route.project_id, route.criteria_version).document)
    fibres = verdicts.waiting_fibres(session, route, limit=FIBRES_A_RUN)
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
        )
        .values(
            judged_version=bindparam("read_version"),
            is_urgent=col(Fibre.is_urgent) & (col(Fibre.evidence_version) > bindparam("read_version")),
            digest=bindparam("new_digest"),
            content=bindparam("new_content"),
            work=bindparam("new_work"),
            counts=bindparam("new_counts"),
            missing=bindparam("new_missing"),
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
        "new_missing": _missing(judgement),
    }


def _missing(judgement: FibreJudgement) -> list[list[str | int]]:
    counter = Counter(
        (segment, finding["criterion"], finding.get("reason", ""))
        for finding in judgement.document["findings"]
        if finding["outcome"] == Outcome.UNDETERMINED and finding["force"] == Force.REQUIRED
        for segment in finding["segments"]
    )
    return [[*key, number] for key, number in sorted(counter.items())]


def _until_next_settling(session: Session, route: Route, context: StepContext) -> timedelta:
    standing = verdicts.standing_verdict(session, route)
    if standing is None:
        return timedelta()
    interval = timedelta(seconds=context.settings.settle_interval_s)
    since: timedelta = context.clock() - standing.settled_at
    return max(timedelta(), min(interval, interval - since))
