"""Settle a route: what needs all of its fibres.

Started by: a `settle` job, due after fibres were judged, at most once a second.
Writes: the route's standing verdict and what is missing.
Leaves: itself due if the route changed meanwhile.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import select as plain_select
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import Session, col

from service.storage import jobs
from service.storage.jobs import JobState, Lease
from service.storage.routes import (
    criteria_row,
    design_row,
    find_route,
    lock_route,
    parse_criteria,
    parse_design,
    raise_version,
)
from service.storage.session import snapshot, transaction
from service.storage.tables import Fibre, Route, StandingVerdict
from service.storage.verdicts import standing_verdict
from worker.jobs.context import StepContext
from worker.jobs.runner import LeftToNewerError, Step
from worker.judgement.judge import ENGINE
from worker.judgement.route.missing import missing_of
from worker.judgement.route.settle import JudgedFibre, Verdict, settle


@dataclass(frozen=True, kw_only=True)
class Settled:
    """A verdict, and what is missing from it."""

    verdict: Verdict
    missing: Sequence[dict[str, Any]]


def run(context: StepContext, lease: Lease) -> None:
    """Settle a route whose fibres have all been judged."""
    with snapshot(context.engine) as session:
        route = find_route(session, [lease.project_id], lease.subject_id)
        settled = _settle(session, route)
    with transaction(context.engine) as session:
        _write(session, lease, settled, context, read_version=route.version)


STEP = Step(run=run, hard_limit_s=60, longest_pause_s=5, waits_for_ever=True)


def _settle(session: Session, route: Route) -> Settled | None:
    if route.criteria_version is None:
        return None
    fibres = session.execute(
        plain_select(
            col(Fibre.number),
            col(Fibre.digest),
            col(Fibre.counts),
            col(Fibre.missing),
            col(Fibre.figures),
            col(Fibre.engine_version),
        )
        .where(col(Fibre.project_id) == route.project_id, col(Fibre.route_id) == route.id)
        .order_by(col(Fibre.number))
    ).all()
    standing = standing_verdict(session, route)
    engines = [0 if standing is None else standing.engine_version, *(fibre.engine_version for fibre in fibres)]
    if max(engines) > ENGINE:
        raise LeftToNewerError
    if any(fibre.digest is None for fibre in fibres):
        return None
    design = design_row(session, route)
    criteria = criteria_row(session, route.project_id, route.criteria_version)
    verdict = settle(
        layout=parse_design(design.document),
        criteria=parse_criteria(criteria.document),
        design_sha256=design.sha256,
        criteria_sha256=criteria.sha256,
        fibres=[
            JudgedFibre(number=one.number, digest=one.digest, counts=one.counts, figures=one.figures) for one in fibres
        ],
    )
    dark = verdict.document.get("tolerated_dark", [])
    missing = [one.missing for one in fibres if one.number not in dark]
    missing.append(missing_of(verdict.document["findings"]))
    return Settled(verdict=verdict, missing=_add_up(missing))


def _add_up(missing: Iterable[Sequence[Sequence[Any]]]) -> list[dict[str, Any]]:
    counter: Counter[tuple[str, str, str]] = Counter()
    for of_fibre in missing:
        for segment, criterion, reason, number in of_fibre:
            counter[segment, criterion, reason] += number
    return [
        {"segment": segment, "criterion": criterion, "reason": reason, "findings": number}
        for (segment, criterion, reason), number in sorted(counter.items())
    ]


def _write(session: Session, lease: Lease, settled: Settled | None, context: StepContext, *, read_version: int) -> None:
    route = lock_route(session, [lease.project_id], lease.subject_id)
    jobs.hold(session, lease)
    # Also where nothing could be settled yet: the last fibres may have been judged since.
    has_changed = route.version != read_version
    if settled is not None:
        _keep(session, route, settled, context)
        raise_version(route)
    delay = timedelta(seconds=context.settings.settle_interval_s if has_changed else 0)
    jobs.release(session, lease, JobState.DUE if has_changed else JobState.IDLE, delay=delay)


def _keep(session: Session, route: Route, settled: Settled, context: StepContext) -> None:
    values = {
        "digest": settled.verdict.digest,
        "document": settled.verdict.content.decode(),
        "missing": settled.missing,
        "settled_at": context.clock(),
        "engine_version": ENGINE,
    }
    statement = insert(StandingVerdict).values(project_id=route.project_id, route_id=route.id, **values)
    session.execute(
        statement.on_conflict_do_update(
            index_elements=["project_id", "route_id"], set_=values, where=col(StandingVerdict.engine_version) <= ENGINE
        )
    )
