"""Where a route and its segments are on the way from work to money.

Started by: whoever asks for a route's or a project's status, on a snapshot.
Writes: nothing. Leaves: nothing.
"""

from collections.abc import Collection
from typing import Any

import orjson
from sqlmodel import Session

from service.actions.acceptance.open_findings import open_since_acceptance
from service.actions.acceptance.openings import openings_since
from service.actions.billing.notices import SEGMENT_ACCEPTED
from service.actions.routes.criteria import reports_on_route
from service.storage import audit, packages, routes, submissions, verdicts
from service.storage.tables import Acceptance, Package, Route, StandingVerdict, Submission
from service.vocabulary.design.design import Segment
from service.vocabulary.findings.finding import OutcomeCounts
from service.vocabulary.findings.words import Outcome
from service.vocabulary.states import SubmissionState
from service.vocabulary.words import Standing

NO_COUNTS: OutcomeCounts = {"conforming": 0, "nonconforming": 0, "undetermined": 0}
_BY_OUTCOME = {
    Outcome.CONFORMING: Standing.CONFORMING,
    Outcome.NONCONFORMING: Standing.NONCONFORMING,
    Outcome.UNDETERMINED: Standing.IN_PROGRESS,
}
_OPEN = {SubmissionState.QUEUED, SubmissionState.ISSUED}


def status_of(session: Session, route: Route) -> dict[str, Any]:
    """Return a route's acceptance status as it is answered."""
    verdict = verdicts.standing_verdict(session, route)
    waiting = verdicts.count_waiting(session, route)
    accepted, submitted = packages.standing_acceptances(session, route), submissions.latest_submissions(session, route)
    told = audit.told_of(session, route, SEGMENT_ACCEPTED) if accepted else set()
    outcomes = {} if verdict is None else orjson.loads(verdict.document)["segments"]
    layout = routes.layout_of(session, route)
    opened = openings_since(session, route, layout, accepted)
    open_since = open_since_acceptance(session, route, outcomes, accepted)
    return {
        "route_id": route.id,
        "code": route.code,
        "version": route.version,
        "design_revision": route.design_revision,
        "agreed_design_revision": route.agreed_design_revision,
        "proposed_design_revision": route.proposed_design_revision,
        "criteria_version": route.criteria_version,
        "proposed_criteria_version": route.proposed_criteria_version,
        "is_judged": verdicts.is_settled(session, route),
        "fibres_waiting": waiting,
        "judging_problem": verdicts.judging_problem(session, route),
        "criteria_reports": reports_on_route(session, route, route.criteria_version),
        "verdict_digest": None if verdict is None else verdict.digest,
        "missing": [] if verdict is None else verdict.missing,
        "segments": [
            {
                "id": segment.id,
                "name": segment.name,
                "billing_item": segment.billing_item,
                "opened_since": opened.get(segment.id, []),
                "open_since_acceptance": open_since.get(segment.id, 0),
                "counts": outcomes.get(segment.id, {}).get("counts", NO_COUNTS),
                **_standing(segment, verdict, outcomes, accepted.get(segment.id), submitted.get(segment.id), told=told),
            }
            for segment in layout.design.segments
        ],
    }


def _standing(
    segment: Segment,
    verdict: StandingVerdict | None,
    outcomes: dict[str, Any],
    acceptance: Acceptance | None,
    latest: tuple[Submission, Package | None] | None,
    *,
    told: Collection[tuple[str, int]],
) -> dict[str, Any]:
    submission, package = latest or (None, None)
    digest = None if verdict is None else verdict.digest
    facts: dict[str, Any] = {
        "submission_id": None if submission is None else submission.id,
        "package_id": None if package is None else package.id,
        "acceptance_number": None,
        "is_released": False,
        "has_changed_since": submission is not None and submission.verdict_digest != digest,
        "is_of_older_engine": submission is not None
        and verdict is not None
        and submission.engine_version < verdict.engine_version,
    }
    if acceptance is not None:
        number = acceptance.number
        is_released = (segment.id, number) in told
        return {"status": Standing.ACCEPTED, **facts, "acceptance_number": number, "is_released": is_released}
    if submission is not None and submission.state in _OPEN:
        return {"status": Standing.SUBMITTED, **facts}
    if submission is not None and submission.state is SubmissionState.DECIDED and not facts["has_changed_since"]:
        return {"status": Standing.REFUSED, **facts}
    outcome = outcomes.get(segment.id, {}).get("outcome", Outcome.UNDETERMINED)
    return {"status": _BY_OUTCOME[Outcome(outcome)], **facts}
