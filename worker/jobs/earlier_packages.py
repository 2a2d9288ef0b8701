"""What stands of earlier packages when another one is made for some of their segments."""

from collections.abc import Mapping, Sequence
from uuid import UUID

import orjson
from sqlmodel import Session

from service.storage.decisions import acceptances_of, decision_on
from service.storage.packages import other_packages
from service.storage.tables import Acceptance, Package, Route, Submission
from worker.package.data.content import EarlierPackage, EarlierSegment, Now

# By package and segment.
_Acceptances = Mapping[tuple[UUID, str], Acceptance]


def earlier_packages(session: Session, route: Route, submission: Submission) -> Sequence[EarlierPackage]:
    """Return the packages before a submission's with some of its segments, newest first."""
    before = [one for one in other_packages(session, submission) if one[1].number < submission.number]
    acceptances = {(one.package_id, one.segment_id): one for one in acceptances_of(session, route)}
    # Those that came after each one, and the one that is being made: the first with a segment takes its place.
    following = [(f"{route.code}/{submission.number}", frozenset(submission.segments))]
    earlier = []
    for package, theirs in before:
        if not following[-1][1].isdisjoint(theirs.segments):
            earlier.append(_earlier(session, package, theirs, acceptances=acceptances, following=following))
        following.insert(0, (package.number, frozenset(theirs.segments)))
    return earlier


def _earlier(
    session: Session,
    package: Package,
    theirs: Submission,
    *,
    acceptances: _Acceptances,
    following: Sequence[tuple[str, frozenset[str]]],
) -> EarlierPackage:
    decision = decision_on(session, package)
    said = {} if decision is None else orjson.loads(decision.document)
    words = said.get("segments", {})
    return EarlierPackage(
        number=package.number,
        decided_at=None if decision is None else decision.decided_at,
        is_deemed="deemed_after_days" in said,
        reason=said.get("reason"),
        segments={
            id_: _segment(id_, words.get(id_), acceptances.get((package.id, id_)), following=following)
            for id_ in theirs.segments
        },
    )


def _segment(
    id_: str, word: str | None, acceptance: Acceptance | None, *, following: Sequence[tuple[str, frozenset[str]]]
) -> EarlierSegment:
    by = next((number for number, segments in following if id_ in segments), None)
    if acceptance is not None and acceptance.withdrawn_at is not None:
        return EarlierSegment(word=word, now=Now.WITHDRAWN, superseded_by=by, reason=acceptance.withdrawal_reason)
    if by is None or acceptance is not None:
        return EarlierSegment(word=word, now=Now.STANDS)
    return EarlierSegment(word=word, now=Now.SUPERSEDED, superseded_by=by)
