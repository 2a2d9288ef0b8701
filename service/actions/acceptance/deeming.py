"""Acceptance deemed after days, where the criteria say so: a clock from issue that any word of the engineer stops.

Started by: the engineer, with a defect notice; the `deem` job, when the days are over.
Writes: the notice, with one audit entry; or the decision, its acceptances and the submission as decided.
Leaves: after a decision the package's `countersign` job due.
"""

from datetime import datetime, timedelta
from uuid import UUID

from pydantic import Field
from sqlmodel import Session

from service.actions.acceptance.decisions import DecisionContext, SegmentDecision, lock_context, record_decision
from service.actions.access.tokens import Caller
from service.errors import ConflictError
from service.storage import packages, routes
from service.storage.audit import NoticeDraft
from service.storage.criteria import criteria_of
from service.storage.tables import Decision, Package, Submission
from service.vocabulary import quantities as q
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.findings.finding import VerdictDocument
from service.vocabulary.findings.words import Outcome
from service.vocabulary.signatures import SignedBy


class DefectNotice(q.Value):
    """What the engineer finds wrong with a package before deciding on it."""

    reason: q.LongText = Field(min_length=1)


def deemed_at(
    criteria: Criteria, submission: Submission, verdict: VerdictDocument, *, issued_at: datetime
) -> datetime | None:
    """Return when a package will be deemed accepted: only if all of it conforms, and nothing is to be conceded."""
    days, segments = criteria.deemed_after_days, verdict["segments"]
    is_conforming = all(segments[segment]["outcome"] == Outcome.CONFORMING for segment in submission.segments)
    if days is None or not is_conforming or submission.concessions:
        return None
    return issued_at + timedelta(days=days)


def notice_defect(session: Session, caller: Caller, package_id: UUID, notice: DefectNotice) -> Package:
    """Record a defect notice, which stops the clock for good; the same again is the same."""
    context = lock_context(session, caller.projects, package_id)
    package = context.package
    if package.defect_notice == notice.reason:
        return package
    if package.defect_notice is not None:
        raise ConflictError("A defect notice is recorded already.")
    if packages.decision_on(session, package) is not None:
        raise ConflictError("The package is decided already.")
    package.defect_notice, package.defect_noticed_at = notice.reason, caller.now
    routes.raise_version(context.route)
    digest = sha256_hex(canonical_json({"package_id": package.id, **notice.model_dump()}))
    caller.append_audit(session, package.project_id, "package.defect_noticed", package.id, content_sha256=digest)
    return package


def deem(session: Session, context: DecisionContext, *, now: datetime) -> tuple[Decision, list[NoticeDraft]] | None:
    """Decide a package whose time has run out, under its route's lock; None where that is not so any more."""
    package, submission = context.package, context.submission
    is_decided = packages.decision_on(session, package) is not None
    if is_decided or package.defect_noticed_at is not None or package.deemed_at is None or now < package.deemed_at:
        return None
    criteria = criteria_of(session, package.project_id, submission.criteria_version)
    said = {
        "package_sha256": package.certified_sha256,
        "segments": dict.fromkeys(submission.segments, SegmentDecision.ACCEPTED),
        "deemed_after_days": criteria.deemed_after_days,
        "signature": SignedBy.SERVICE_SEAL,
    }
    return record_decision(session, context, said, now=now, token_id=None, person=None)
