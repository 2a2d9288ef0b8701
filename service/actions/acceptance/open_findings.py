"""Required findings that do not conform: which they are, and which came up in what is accepted.

Started by: a submission, under the route's lock; whoever asks for a status, on a snapshot.
Writes: nothing. Leaves: nothing.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import orjson
from sqlmodel import Session

from service.storage import packages, submissions, verdicts
from service.storage.tables import Acceptance, Route
from service.vocabulary.criteria.words import Force
from service.vocabulary.findings.concession import Conceded, read_concession, subject_of
from service.vocabulary.findings.finding import FindingDocument, OutcomeCounts, VerdictDocument
from service.vocabulary.findings.words import Outcome


def open_findings(
    session: Session, route: Route, verdict: VerdictDocument, segments: Sequence[str]
) -> Iterator[FindingDocument]:
    """Give the required findings of segments that do not conform: of several fibres together, then of each."""
    yield from _open_among(verdict["findings"], segments)
    dark = verdict.get("tolerated_dark", [])
    for row in verdicts.fibre_documents(session, route):
        if row.number not in dark and any(count_open(row.counts.get(segment)) for segment in segments):
            yield from _open_among(orjson.loads(row.content)["findings"], segments)


def count_open(counts: OutcomeCounts | None) -> int:
    """Return how many findings do not conform, by counts of outcomes."""
    return 0 if counts is None else counts["nonconforming"] + counts["undetermined"]


def open_since_acceptance(
    session: Session, route: Route, outcomes: Mapping[str, Any], accepted: Mapping[str, Acceptance]
) -> Mapping[str, int]:
    """Return by accepted segment how many required findings are open now of which its package conceded none."""
    counts = {segment: count_open(outcomes.get(segment, {}).get("counts")) for segment in accepted}
    return {
        segment: _count_unconceded(session, route, segment, accepted[segment], all_open=number)
        for segment, number in counts.items()
        if number
    }


def _count_unconceded(session: Session, route: Route, segment: str, own: Acceptance, *, all_open: int) -> int:
    package = packages.find_package(session, [route.project_id], own.package_id)
    submission = submissions.find_submission(session, [route.project_id], package.submission_id)
    if not submission.concessions:
        return all_open
    verdict = verdicts.verdict_document(session, route)
    assert verdict is not None
    conceded = Conceded([read_concession(row) for row in submission.concessions])
    found = open_findings(session, route, verdict, [segment])
    return sum(conceded.index_for(subject_of(finding)) is None for finding in found)


def _open_among(findings: Iterable[FindingDocument], segments: Sequence[str]) -> Iterator[FindingDocument]:
    for finding in findings:
        if (
            finding["force"] == Force.REQUIRED
            and finding["outcome"] != Outcome.CONFORMING
            and not set(segments).isdisjoint(finding["segments"])
        ):
            yield finding
