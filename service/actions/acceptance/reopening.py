"""Open a submission again whose package was given up, unless another has taken its place meanwhile.

Started by: the `package` job, when somebody made it due again; under the route's lock.
Writes: the submission as queued, its segments as held; the route's version.
Leaves: nothing; the job goes on.
"""

from sqlmodel import Session

from service.errors import ConflictError
from service.storage.decisions import standing_acceptances
from service.storage.routes import raise_version
from service.storage.submissions import hold_segments, submissions_after
from service.storage.tables import Route, Submission
from service.vocabulary.states import SubmissionState


def reopen(session: Session, route: Route, submission: Submission) -> None:
    """Hold the segments again, under the route's lock."""
    replaced = replaced_by(session, route, submission)
    if replaced is not None:
        raise ConflictError(replaced)
    hold_segments(session, submission)
    submission.state, submission.problem = SubmissionState.QUEUED, None
    raise_version(route)


def replaced_by(session: Session, route: Route, submission: Submission) -> str | None:
    """Say what has taken the place of a submission that was given up; `None` where nothing has.

    A later one that was refused has taken it too: the engineer has looked at newer records since.
    """
    for segment in standing_acceptances(session, route):
        if segment in submission.segments:
            return f"Segment {segment} is accepted by now: nothing is made of an earlier submission."
    for other in submissions_after(session, submission):
        shared = sorted(set(other.segments) & set(submission.segments))
        if shared:
            return f"Submission {other.number} of segment {shared[0]} has taken the place of this one."
    return None
