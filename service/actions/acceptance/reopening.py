"""Open a submission again whose package was given up, unless another has taken its place meanwhile."""

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.errors import ConflictError
from service.storage import verdicts
from service.storage.routes import raise_version
from service.storage.tables import Route, Submission, SubmissionSegment


def reopen(session: Session, route: Route, submission: Submission) -> None:
    """Hold the segments again, under the route's lock."""
    replaced = replaced_by(session, route, submission)
    if replaced is not None:
        raise ConflictError(replaced)
    session.execute(
        update(SubmissionSegment)
        .where(
            col(SubmissionSegment.project_id) == submission.project_id,
            col(SubmissionSegment.submission_id) == submission.id,
        )
        .values(is_open=True)
    )
    submission.state, submission.problem = "queued", None
    raise_version(route)


def replaced_by(session: Session, route: Route, submission: Submission) -> str | None:
    """Say what has taken the place of a submission that was given up; `None` where nothing has.

    A later one that was refused has taken it too: the engineer has looked at newer records since.
    """
    for segment in verdicts.standing_acceptances(session, route):
        if segment in submission.segments:
            return f"Segment {segment} is accepted by now: nothing is made of an earlier submission."
    later = select(Submission).where(
        Submission.project_id == submission.project_id,
        Submission.route_id == submission.route_id,
        Submission.number > submission.number,
        Submission.state != "parked",
    )
    for other in session.exec(later.order_by(col(Submission.number))):
        shared = sorted(set(other.segments) & set(submission.segments))
        if shared:
            return f"Submission {other.number} of segment {shared[0]} has taken the place of this one."
    return None
