"""Settle a route: what needs all of its fibres.

Started by: a `settle` job, due after fibres were judged, at most once a second; or because an older engine made the
route's verdict.
Writes: the route's standing verdict and what is missing; where its joints lie, once no fibre waits; one audit entry for
each accepted segment of which another number of findings is open than before. No verdict of fibres that different
engines judged: those of an older one wait to be judged anew, one route at a time.
Leaves: itself due if the route changed meanwhile; the `judge` job due if joints lie elsewhere than was thought; the
next route of an older engine due to be settled.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import structlog
from sqlmodel import Session

from service.actions.acceptance.open_findings import count_open
from service.storage import cables, jobs, packages, renewal, verdicts
from service.storage.audit import AuditEvent, append_audit
from service.storage.jobs import Lease
from service.storage.routes import JudgedBy, find_route, lock_and_raise, lock_for_step
from service.storage.session import snapshot, transaction
from service.storage.verdicts import JudgedRoute
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.states import JobKind, JobState
from worker.jobs.context import StepContext
from worker.jobs.judging import PreparedRules, rules_in_force, spots_in_force
from worker.jobs.runner import LeftToNewerError, Step
from worker.judgement.documents.route import read_contributions, read_counts
from worker.judgement.documents.spots import write_spots
from worker.judgement.judge import ENGINE
from worker.judgement.route.settle import JudgedFibre, Verdict
from worker.judgement.traces.spots import RouteSpots

log = structlog.get_logger()
# How soon a route looks again whether it may be judged anew.
_UNTIL_ITS_TURN = timedelta(seconds=2)


@dataclass(frozen=True, kw_only=True)
class Settled:
    """A verdict for a version of its route, and what is missing from it; joints that were found somewhere else now."""

    verdict: Verdict | None
    by: JudgedBy
    missing: Sequence[dict[str, Any]] = ()
    moved: "MovedSpots | None" = None
    is_older: bool = False


@dataclass(frozen=True, kw_only=True)
class MovedSpots:
    """Where the joints of a route lie now, and the fibres that were judged with them somewhere else."""

    document: str
    fibres: Sequence[int]


def run(context: StepContext, lease: Lease) -> None:
    """Settle a route whose fibres have all been judged."""
    with snapshot(context.engine) as session:
        route = verdicts.judged_route(session, lease.project_id, lease.subject_id)
        by = None if route is None else rules_in_force(session, route.by)
        spots = None if route is None or by is None else spots_in_force(session, route.by, by)
    settled = None if route is None or by is None or spots is None else _settle(route, by, spots)
    with transaction(context.engine) as session:
        _write(session, lease, settled, context)
    if route is not None and settled is not None and settled.verdict is not None and route.is_renewed_by(ENGINE):
        # After commit: it locks another route's job.
        with transaction(context.engine) as session:
            renewal.start_next(session, engine=ENGINE)


STEP = Step(run=run, hard_limit_s=60, longest_pause_s=5, waits_for_ever=True)


def _settle(route: JudgedRoute, by: PreparedRules, spots: RouteSpots) -> Settled:
    if route.newest_engine > ENGINE:
        raise LeftToNewerError
    if route.is_older_than(ENGINE):
        return Settled(verdict=None, by=route.by, is_older=True)
    waits = any(one.waits for one in route.fibres)
    judged = [(one, one.digest) for one in route.fibres if one.digest is not None]
    # First, for while a route is uploaded this is how it ends each second.
    if len(judged) < len(route.fibres) or (waits and route.is_renewed_by(ENGINE)):
        return Settled(verdict=None, by=route.by)
    fibres = [
        JudgedFibre(
            number=one.number,
            digest=digest,
            counts=read_counts(one.counts),
            contributions=None if one.figures is None else read_contributions(one.figures),
        )
        for one, digest in judged
    ]
    # While fibres wait, others come and go: what they show is put together when the last of them was judged.
    moved = None if waits else _moved(spots, by.find_spots(fibres))
    if moved is not None and route.is_renewed_by(ENGINE):
        # The older verdict stands until no fibre has to be judged anew any more: then it is the next route's turn.
        return Settled(verdict=None, by=route.by, moved=moved)
    verdict = by.settle(fibres, spots)
    dark = verdict.document.get("tolerated_dark", [])
    of_fibres = (one.missing for one in route.fibres if one.number not in dark)
    missing = _add_up([*of_fibres, verdict.missing])
    return Settled(verdict=verdict, by=route.by, missing=missing, moved=moved)


def _moved(before: RouteSpots, now: RouteSpots) -> MovedSpots | None:
    fibres = range(1, now.layout.design.fibre_count + 1)
    elsewhere = [fibre for fibre in fibres if not now.of(fibre).are(before.of(fibre))]
    if not elsewhere:
        return None
    return MovedSpots(document=canonical_json(write_spots(now)).decode(), fibres=elsewhere)


def _add_up(missing: Iterable[Sequence[Sequence[Any]]]) -> list[dict[str, Any]]:
    counter: Counter[tuple[str, str, str]] = Counter()
    for of_fibre in missing:
        for segment, criterion, reason, number in of_fibre:
            counter[segment, criterion, reason] += number
    return [
        {"segment": segment or None, "criterion": criterion, "reason": reason, "findings": number}
        for (segment, criterion, reason), number in sorted(counter.items())
    ]


def _write(session: Session, lease: Lease, settled: Settled | None, context: StepContext) -> None:
    verdict = None if settled is None else settled.verdict
    is_raised = settled is not None and (verdict is not None or settled.moved is not None)
    route = (lock_and_raise if is_raised else lock_for_step)(session, lease.project_id, lease.subject_id)
    if settled is None:
        jobs.release(session, lease, JobState.DUE if route.criteria_version is not None else JobState.IDLE)
        return
    if settled.is_older:
        is_renewed = renewal.renew(session, lease.project_id, lease.subject_id, engine=ENGINE)
        # Until it is this route's turn its verdict is not settled, so nobody can submit on it.
        state, delay = (JobState.IDLE, timedelta()) if is_renewed else (JobState.DUE, _UNTIL_ITS_TURN)
        jobs.release(session, lease, state, delay=delay)
        return
    changed: Sequence[str] = ()
    if verdict is not None:
        changed = _changed_acceptances(session, lease, verdict)
        values = {
            "digest": verdict.digest,
            "document": verdict.content.decode(),
            "missing": settled.missing,
            "settled_at": context.clock(),
        }
        verdicts.keep_verdict(session, lease.project_id, lease.subject_id, values, engine=ENGINE)
    if settled.moved is not None:
        _keep_spots(session, lease, settled.by, settled.moved, version=route.version)
    # Also where nothing could be settled yet: the last fibres may have been judged since.
    has_changed = route.version - is_raised != settled.by.version
    delay = timedelta(seconds=context.settings.settle_interval_s if has_changed else 0)
    jobs.release(session, lease, JobState.DUE if has_changed else JobState.IDLE, delay=delay)
    for segment in changed:
        event = AuditEvent(
            at=context.clock(),
            actor="worker",
            action="segment.evidence_changed",
            subject=f"{lease.subject_id}/{segment}",
            content_sha256=None if verdict is None else verdict.digest,
        )
        append_audit(session, lease.project_id, event)


def _changed_acceptances(session: Session, lease: Lease, verdict: Verdict) -> list[str]:
    """Return the accepted segments of which another number of required findings is open than in the verdict before.

    What was accepted stands: the engineer hears that it is not proven any more, or that it is again.
    """
    accepted = packages.accepted_segments(session, lease.project_id, lease.subject_id)
    if not accepted:
        return []
    route = find_route(session, [lease.project_id], lease.subject_id)
    before = verdicts.verdict_document(session, route)
    if before is None:
        return []
    was, now = (
        {segment: count_open(one["counts"]) for segment, one in own["segments"].items()}
        for own in (before, verdict.document)
    )
    changed = [segment for segment in accepted if was.get(segment, 0) != now.get(segment, 0)]
    for segment in changed:
        said = {"segment": segment, "open_before": was.get(segment, 0), "open_now": now.get(segment, 0)}
        log.warning("segment.evidence_changed", route_id=str(route.id), **said)
    return changed


def _keep_spots(session: Session, lease: Lease, by: JudgedBy, moved: MovedSpots, *, version: int) -> None:
    where = {"project_id": lease.project_id, "route_id": lease.subject_id}
    cables.keep_spots(session, by, moved.document, sha256=sha256_hex(moved.document.encode()))
    verdicts.let_wait(session, **where, numbers=moved.fibres, version=version)
    jobs.make_due(session, JobKind.JUDGE, project_id=lease.project_id, subject_id=lease.subject_id)
