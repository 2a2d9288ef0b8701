"""Which acceptances billing hears of: each by itself, or those of a route once all its segments are accepted.

Started by: whatever closes a package, under the route's lock.
Writes: nothing; the notices are numbered with the audit entry, last before commit.
Leaves: nothing.
"""

import orjson
from sqlmodel import Session

from service.actions.billing.notices import SEGMENT_ACCEPTED, accepted_notice
from service.actions.decision_context import DecisionContext
from service.storage.criteria import criteria_of
from service.storage.decisions import decision_made, standing_acceptances
from service.storage.notices import NoticeDraft, told_of
from service.storage.packages import find_package, submission_of_package
from service.storage.routes import layout_of
from service.storage.tables import Acceptance, Route
from service.vocabulary.criteria.criteria import Release


def release(session: Session, context: DecisionContext) -> list[NoticeDraft]:
    """Return the notices that a decision lets out, under the route's lock; none has been told before."""
    route = context.route
    criteria = criteria_of(session, route.project_id, context.submission.criteria_version)
    accepted = standing_acceptances(session, route)
    segments = [
        segment.id for segment in layout_of(session, route, revision=context.submission.design_revision).design.segments
    ]
    if criteria.release is Release.WITH_ROUTE and any(segment not in accepted for segment in segments):
        return []
    told = told_of(session, route, SEGMENT_ACCEPTED)
    waiting = [accepted[segment] for segment in segments if segment in accepted]
    return [_notice(session, route, one) for one in waiting if (one.segment_id, one.number) not in told]


def _notice(session: Session, route: Route, acceptance: Acceptance) -> NoticeDraft:
    package = find_package(session, [acceptance.project_id], acceptance.package_id)
    decision = orjson.loads(decision_made(session, package).document)
    context = DecisionContext(route=route, package=package, submission=submission_of_package(session, package))
    granted = [
        concession
        for concession in context.submission.concessions
        if concession["number"] in decision.get("concessions_granted", [])
        and acceptance.segment_id in concession["segments"]
    ]
    return accepted_notice(session, context, acceptance, granted, is_deemed="deemed_after_days" in decision)
