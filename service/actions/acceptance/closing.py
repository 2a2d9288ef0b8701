"""Close a package: the acceptances that a decision makes, and what billing hears of them.

Started by: the engineer's decision, or the clock's, under the route's lock.
Writes: acceptances, the submission as decided, its segments as free; the route's version.
Leaves: the package's `countersign` job due.
"""

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session

from service.actions.billing.notices import release
from service.actions.decision_context import DecisionContext
from service.storage.decisions import accept_segment
from service.storage.jobs import make_due
from service.storage.notices import NoticeDraft
from service.storage.routes import raise_version
from service.storage.submissions import let_segments_go
from service.vocabulary.states import JobKind, SubmissionState


def close(session: Session, context: DecisionContext, *, accepted: Collection[str], now: datetime) -> list[NoticeDraft]:
    """Accept some of a package's segments, under the route's lock; its decision is recorded, and to be sealed."""
    route, submission, package = context.route, context.submission, context.package
    for segment in submission.segments:
        if segment in accepted:
            accept_segment(session, route, package, segment, now=now)
    let_segments_go(session, submission)
    submission.state = SubmissionState.DECIDED
    raise_version(route)
    make_due(session, JobKind.COUNTERSIGN, project_id=route.project_id, subject_id=package.id)
    return release(session, context)
