"""Which acceptances billing hears of: each by itself, or those of a route once all its segments are accepted."""

import orjson
from sqlmodel import Session, select

from service.actions.billing.notices import SEGMENT_ACCEPTED, accepted_notice
from service.actions.decision_context import Case
from service.storage import verdicts
from service.storage.head import NoticeDraft
from service.storage.routes import criteria_row, layout_of, parse_criteria
from service.storage.tables import Acceptance, Decision, Notice, Package, Route
from service.vocabulary.criteria.criteria import Release


def release(session: Session, case: Case) -> list[NoticeDraft]:
    """Return the notices that a decision lets out, under the route's lock; none has been told before."""
    session.flush()
    route = case.route
    criteria = parse_criteria(criteria_row(session, route.project_id, case.submission.criteria_version).document)
    accepted = verdicts.standing_acceptances(session, route)
    segments = [
        segment.id for segment in layout_of(session, route, revision=case.submission.design_revision).design.segments
    ]
    if criteria.release is Release.WITH_ROUTE and any(segment not in accepted for segment in segments):
        return []
    told = told_of(session, route)
    waiting = [accepted[segment] for segment in segments if segment in accepted]
    return [_notice(session, route, one) for one in waiting if (one.segment_id, one.number) not in told]


def told_of(session: Session, route: Route) -> set[tuple[str, int]]:
    """Return the segments, with the number of the acceptance, that billing has heard of."""
    rows = session.exec(
        select(Notice.segment_id, Notice.acceptance_number).where(
            Notice.project_id == route.project_id, Notice.route_id == route.id, Notice.type == SEGMENT_ACCEPTED
        )
    )
    return {(segment, number) for segment, number in rows}


def _notice(session: Session, route: Route, acceptance: Acceptance) -> NoticeDraft:
    package = session.get_one(Package, (acceptance.project_id, acceptance.package_id))
    decision = orjson.loads(session.get_one(Decision, (package.project_id, package.id)).document)
    case = Case(route=route, package=package, submission=verdicts.submission_of_package(session, package))
    granted = [
        concession
        for concession in case.submission.concessions
        if concession["number"] in decision.get("concessions_granted", [])
        and acceptance.segment_id in concession["segments"]
    ]
    return accepted_notice(session, case, acceptance, granted, is_deemed="deemed_after_days" in decision)
