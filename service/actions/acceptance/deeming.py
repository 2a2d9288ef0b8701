"""Acceptance deemed after days, where the criteria say so: a clock from issue that any word of the engineer stops.

Started by: the engineer, with a defect notice; the `deem` job, when the days are over.
Writes: the notice, with one audit entry; or the decision, its acceptances and the submission as decided.
Leaves: after a decision the package's `countersign` job due.
"""

from datetime import datetime, timedelta
from uuid import UUID

from pydantic import Field
from sqlmodel import Session

from service.actions.acceptance.closing import close
from service.actions.acceptance.decisions import SegmentDecision
from service.actions.caller import Caller
from service.actions.decision_context import DecisionContext
from service.errors import ConflictError
from service.storage.audit import append_audit
from service.storage.criteria import criteria_of
from service.storage.decisions import decision_on
from service.storage.notices import NoticeDraft
from service.storage.packages import find_package, submission_of_package
from service.storage.routes import lock_route, raise_version
from service.storage.session import add_rows
from service.storage.tables import Decision, Package, Submission
from service.vocabulary import quantities as q
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.findings.finding import VerdictDocument
from service.vocabulary.signatures import SignedBy
from service.vocabulary.words import Outcome


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
    route = lock_route(session, caller.projects, find_package(session, caller.projects, package_id).route_id)
    package = find_package(session, caller.projects, package_id)
    if package.defect_notice == notice.reason:
        return package
    if package.defect_notice is not None:
        raise ConflictError("A defect notice is recorded already.")
    if decision_on(session, package) is not None:
        raise ConflictError("The package is decided already.")
    package.defect_notice, package.defect_noticed_at = notice.reason, caller.now
    raise_version(route)
    digest = sha256_hex(canonical_json({"package_id": package.id, **notice.model_dump()}))
    append_audit(session, route.project_id, caller.event("package.defect_noticed", package.id, content_sha256=digest))
    return package


def deem(session: Session, context: DecisionContext, *, now: datetime) -> tuple[Decision, list[NoticeDraft]] | None:
    """Decide a package whose time has run out, under its route's lock; None where that is not so any more."""
    package, submission = context.package, context.submission
    is_decided = decision_on(session, package) is not None
    if is_decided or package.defect_noticed_at is not None or package.deemed_at is None or now < package.deemed_at:
        return None
    criteria = criteria_of(session, package.project_id, submission.criteria_version)
    document = canonical_json(
        {
            "package_id": package.id,
            "package_sha256": package.certified_sha256,
            "segments": dict.fromkeys(submission.segments, SegmentDecision.ACCEPTED.value),
            "deemed_after_days": criteria.deemed_after_days,
            "signature": SignedBy.SERVICE_SEAL.value,
        }
    )
    decision = Decision(
        project_id=package.project_id,
        package_id=package.id,
        package_sha256=package.certified_sha256,
        document=document.decode(),
        sha256=sha256_hex(document),
        decided_at=now,
        token_id=None,
    )
    add_rows(session, [decision])
    return decision, close(session, context, accepted=submission.segments, now=now)


def lock_context(session: Session, project_id: UUID, package_id: UUID) -> DecisionContext:
    """Return what a decision on a package is made on, its route locked."""
    route = lock_route(session, [project_id], find_package(session, [project_id], package_id).route_id)
    # What was read before the lock is stale: a defect notice may have been committed since.
    package = find_package(session, [project_id], package_id)
    return DecisionContext(route=route, package=package, submission=submission_of_package(session, package))
