"""Try other criteria, or another design, on a route's records, some fibres a run.

First every fibre is looked at for where the cable's joints lie by what is tried, then every fibre is judged by that.

Started by: a `trial` job, due when an engineer asks for it.
Writes: how far the trial is; at its end what came of it, or why it was given up. No verdict, no fibre, no version.
Leaves: itself due until every fibre was tried.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pydantic import TypeAdapter
from sqlmodel import Session

from service.storage import jobs
from service.storage.criteria import find_trial, give_trial_up, parse_criteria, write_trial
from service.storage.jobs import Lease
from service.storage.records import read_evidence
from service.storage.routes import design_row, find_route
from service.storage.session import snapshot, transaction
from service.storage.tables import Route
from service.storage.verdicts import FibreVersions, counts_standing, standing_verdict
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.trial import TrialState
from service.vocabulary.states import JobState
from worker.jobs.context import StepContext
from worker.jobs.judging import Waiting, judge_fibres, rules_from
from worker.jobs.runner import Step
from worker.jobs.trial_result import CurrentVerdict, Progress, carry_on, carry_on_sighting, result_of

_PROGRESS = TypeAdapter(Progress)
# Each is judged well within a lease; nobody waits for the next few of them.
_FIBRES_A_RUN = 64


@dataclass(frozen=True, kw_only=True)
class Batch:
    """What a run reads: fibres with their records and where they stand, and what came of those before them."""

    waiting: Waiting
    standing: CurrentVerdict
    before: Progress


def run(context: StepContext, lease: Lease) -> None:
    """Try the next fibres; after the last one, put together what came of it."""
    with snapshot(context.engine) as session:
        batch = _read(session, lease)
    values: dict[str, object] = {}
    is_last = True
    if batch is not None:
        by, judged = batch.waiting.by, judge_fibres(batch.waiting, come_forward=context.come_forward)
        if batch.before.spots is None:
            progress = carry_on_sighting(batch.before, judged, by)
        else:
            progress = carry_on(batch.before, judged, batch.standing)
        is_last = len(progress.fibres) == by.layout.design.fibre_count
        if is_last:
            values = _finished(progress, batch.waiting, now=context.clock())
        else:
            values = {"progress": _PROGRESS.dump_json(progress).decode()}
    with transaction(context.engine) as session:
        if values:
            write_trial(session, lease.project_id, lease.subject_id, values)
        # Whoever lost the lease learns it here, and nothing of this stays.
        jobs.release(session, lease, JobState.DONE if is_last else JobState.DUE)


def park(session: Session, lease: Lease, reason: str) -> None:
    """Say why the trial was given up."""
    give_trial_up(session, lease.project_id, lease.subject_id, reason)


STEP = Step(run=run, hard_limit_s=60, longest_pause_s=5, waits_for_ever=True, on_parked=park)


def _read(session: Session, lease: Lease) -> Batch | None:
    trial = find_trial(session, [lease.project_id], lease.subject_id)
    if trial.criteria is None:
        # A parked trial that was made due again after newer ones had taken its place.
        return None
    route = find_route(session, [trial.project_id], trial.route_id)
    design = design_row(session, route, revision=trial.design_revision)
    by = rules_from(design, parse_criteria(trial.criteria), criteria_sha256=trial.criteria_sha256)
    begun = Progress(first_route_version=route.version, last_route_version=route.version)
    before = begun if trial.progress is None else _PROGRESS.validate_json(trial.progress)
    numbers = _next_fibres(by.layout, before)
    evidence = read_evidence(session, route.project_id, route.id, numbers, with_every_splice=by.voids_others)
    return Batch(
        waiting=Waiting(
            fibres=[FibreVersions(number=number, evidence_version=route.version) for number in numbers],
            evidence=evidence,
            by=by,
            spots=before.spots_in(by.layout),
        ),
        standing=_standing(session, route, numbers),
        before=before,
    )


def _next_fibres(layout: Layout, before: Progress) -> range:
    first = before.fibres_done + 1
    return range(first, min(first + _FIBRES_A_RUN, layout.design.fibre_count + 1))


def _standing(session: Session, route: Route, numbers: Sequence[int]) -> CurrentVerdict:
    verdict = standing_verdict(session, route)
    return CurrentVerdict(
        route_version=route.version,
        digest=None if verdict is None else verdict.digest,
        counts=counts_standing(session, route, numbers),
    )


def _finished(progress: Progress, tried: Waiting, *, now: datetime) -> dict[str, object]:
    return {
        "state": TrialState.DONE,
        "problem": None,
        "progress": None,
        "result": result_of(progress, tried.by, tried.spots).decode(),
        "finished_at": now,
    }
