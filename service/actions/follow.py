"""What follows from a change of a locked route."""

from collections.abc import Collection

from sqlmodel import Session, col, select

from service.errors import RouteSubmittedError
from service.storage.jobs import JobKind, make_due
from service.storage.routes import touch_fibres
from service.storage.tables import Route, SubmissionSegment


def judge_again(session: Session, route: Route, numbers: Collection[int] | None, *, is_urgent: bool) -> None:
    """Let fibres of a locked route, or all with None, wait to be judged; without criteria nothing is judged yet."""
    touch_fibres(session, route, numbers, is_urgent=is_urgent)
    if route.criteria_version is not None:
        make_due(session, JobKind.JUDGE, project_id=route.project_id, subject_id=route.id)


def refuse_while_submitted(session: Session, route: Route) -> None:
    """Refuse what may not change under an open submission."""
    is_open = select(SubmissionSegment.submission_id).where(
        SubmissionSegment.project_id == route.project_id,
        SubmissionSegment.route_id == route.id,
        col(SubmissionSegment.is_open),
    )
    if session.exec(is_open.limit(1)).first() is not None:
        raise RouteSubmittedError("Design and criteria stay as they are until the submission is decided.")
