"""Close a package: the acceptances that a decision makes, and what billing hears of them."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import func, update
from sqlmodel import Session, col, select

from service.actions.billing.release import release
from service.actions.decision_context import Case
from service.storage.head import NoticeDraft
from service.storage.jobs import JobKind, make_due
from service.storage.routes import raise_version
from service.storage.tables import Acceptance, SubmissionSegment


def close(session: Session, case: Case, *, accepted: Collection[str], now: datetime) -> list[NoticeDraft]:
    """Accept some of a package's segments, under the route's lock; its decision is recorded, and to be sealed."""
    route, submission = case.route, case.submission
    for segment in submission.segments:
        if segment in accepted:
            _accept(session, case, segment, now=now)
    session.execute(
        update(SubmissionSegment)
        .where(
            col(SubmissionSegment.project_id) == route.project_id,
            col(SubmissionSegment.submission_id) == submission.id,
        )
        .values(is_open=False)
    )
    submission.state = "decided"
    raise_version(route)
    make_due(session, JobKind.COUNTERSIGN, project_id=route.project_id, subject_id=case.package.id)
    return release(session, case)


def _accept(session: Session, case: Case, segment: str, *, now: datetime) -> None:
    route = case.route
    last = session.exec(
        select(func.max(Acceptance.number)).where(
            col(Acceptance.project_id) == route.project_id,
            col(Acceptance.route_id) == route.id,
            col(Acceptance.segment_id) == segment,
        )
    ).one()
    session.add(
        Acceptance(
            project_id=route.project_id,
            route_id=route.id,
            segment_id=segment,
            number=(last or 0) + 1,
            package_id=case.package.id,
            accepted_at=now,
        )
    )
