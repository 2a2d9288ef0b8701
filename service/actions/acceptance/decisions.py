"""Decide a package: every segment of it at once, by an engineer who names the file that was seen, or by the clock.

Started by: the engineer; `deeming`, when the days are over.
Writes: the decision, its acceptances, billing's notices, the submission as decided, its segments as free; the route's
version; one audit entry.
Leaves: the package's `countersign` job due.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field
from sqlmodel import Session

from service import errors
from service.actions.acceptance.submissions import MOST_CONCESSIONS
from service.actions.access.tokens import Caller
from service.actions.billing.notices import release
from service.storage import access, jobs, packages, routes, submissions
from service.storage.audit import NoticeDraft
from service.storage.session import add_rows
from service.storage.tables import Decision, Package, Person, Route, Submission
from service.vocabulary import quantities as q
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.signatures import SignedBy
from service.vocabulary.states import JobKind, SubmissionState
from service.vocabulary.validation import Fault, faults_of_unknown

ConcessionNumber = Annotated[int, Field(strict=True, ge=1, le=MOST_CONCESSIONS)]


class SegmentDecision(StrEnum):
    """The engineer's word on one segment."""

    ACCEPTED = "accepted"
    REFUSED = "refused"


class DecisionForm(q.Value):
    """The engineer's word on every segment, the concessions granted by their number, and the file it is about.

    The service seals the decision into the file; `signature` says whether that is all (`service_seal`), or the engineer
    then signs the sealed file with a key of their own. `reason` is why segments are refused, or the reservations under
    which they are accepted; it is printed with the decision.
    """

    package_sha256: q.Sha256
    segments: Annotated[dict[q.Identifier, SegmentDecision], Field(min_length=1, max_length=500)]
    concessions_granted: Annotated[tuple[ConcessionNumber, ...], Field(max_length=MOST_CONCESSIONS)] = ()
    reason: q.LongText | None = None
    signature: SignedBy = SignedBy.SERVICE_SEAL


@dataclass(frozen=True, kw_only=True)
class DecisionContext:
    """What a decision is made on: a package with the submission that it answers, and its route, which is locked."""

    route: Route
    package: Package
    submission: Submission


def lock_context(session: Session, projects: Collection[UUID] | None, package_id: UUID) -> DecisionContext:
    """Return what a decision on a package is made on, its route locked."""
    route = routes.lock_route(session, projects, packages.find_package(session, projects, package_id).route_id)
    # What was read before the lock is stale: another decision or a defect notice may have been committed since.
    package = packages.find_package(session, projects, package_id)
    return DecisionContext(route=route, package=package, submission=packages.submission_of_package(session, package))


def decide(session: Session, caller: Caller, package_id: UUID, etag: str, form: DecisionForm) -> Decision:
    """Record the decision, the acceptances it makes and billing's notices; the same again gives the one made."""
    context = lock_context(session, caller.projects, package_id)
    package, submission = context.package, context.submission
    said = form.model_dump(exclude_none=True)
    made = packages.decision_on(session, package)
    if made is not None:
        if made.sha256 == sha256_hex(_document(package, said)):
            return made
        raise errors.ConflictError("The package is decided already.")
    _refuse_what_was_not_seen(package, etag, form)
    refuse_own_work(session, caller, submission)
    _refuse_unknown_signer(caller, form)
    _refuse_incomplete(submission, form)
    person = access.find_person(session, package.project_id, caller.holder)
    decision, notices = record_decision(session, context, said, now=caller.now, token_id=caller.token_id, person=person)
    caller.append_audit(
        session, package.project_id, "package.decided", package.id, content_sha256=decision.sha256, notices=notices
    )
    return decision


def record_decision(
    session: Session,
    context: DecisionContext,
    said: Mapping[str, Any],
    *,
    now: datetime,
    token_id: UUID | None,
    person: Person | None,
) -> tuple[Decision, list[NoticeDraft]]:
    """Record what was said of a package under its route's lock, and accept its segments; return billing's notices."""
    route, package, submission = context.route, context.package, context.submission
    document = _document(package, said)
    decision = Decision(
        project_id=package.project_id,
        package_id=package.id,
        package_sha256=package.certified_sha256,
        document=document.decode(),
        sha256=sha256_hex(document),
        decided_at=now,
        token_id=token_id,
        decided_by_name=None if person is None else person.name,
        decided_by_position=None if person is None else person.role,
    )
    add_rows(session, [decision])
    for segment in submission.segments:
        if said["segments"][segment] == SegmentDecision.ACCEPTED:
            packages.accept_segment(session, route, package, segment, now=now)
    submissions.hold_segments(session, submission, is_open=False)
    submission.state = SubmissionState.DECIDED
    routes.raise_version(route)
    jobs.make_due(session, JobKind.COUNTERSIGN, project_id=route.project_id, subject_id=package.id)
    return decision, release(session, route, submission)


def package_etag(package: Package) -> str:
    """Return the strong entity tag of a package's current file."""
    return f'"{package.current_sha256}"'


def refuse_own_work(session: Session, caller: Caller, submission: Submission) -> None:
    """Refuse who submitted, or answers for, what is to be accepted."""
    submitters = {submission.responsible_person, access.holder_of(session, submission.token_id)}
    if caller.holder is not None and caller.holder in submitters:
        raise errors.WrongTokenKindError("Who submits cannot accept.")


def _document(package: Package, said: Mapping[str, Any]) -> bytes:
    return canonical_json({"package_id": package.id, **said})


def _refuse_what_was_not_seen(package: Package, etag: str, form: DecisionForm) -> None:
    if etag != package_etag(package):
        raise errors.PreconditionFailedError(
            "The package is another by now; look at it again.", headers={"ETag": package_etag(package)}
        )
    if form.package_sha256 != package.certified_sha256:
        fault = Fault(pointer="/package_sha256", detail="is not the SHA-256 of this package")
        raise errors.PackageMismatchError("A decision is about the file that was seen.", faults=[fault])


def _refuse_unknown_signer(caller: Caller, form: DecisionForm) -> None:
    if form.signature is SignedBy.OWN_KEY and caller.holder is None:
        fault = Fault(pointer="/signature", detail="needs a token that names its holder: whose key would it be?")
        raise errors.BodyInvalidError("Nobody is known who could sign.", faults=[fault])


def _refuse_incomplete(submission: Submission, form: DecisionForm) -> None:
    faults = [
        Fault(pointer="/segments", detail=f"lacks segment {segment}")
        for segment in submission.segments
        if segment not in form.segments
    ]
    faults += [
        Fault(pointer=f"/segments/{segment}", detail="is not in this package")
        for segment in form.segments
        if segment not in submission.segments
    ]
    asked = {one["number"]: one for one in submission.concessions}
    unknown = "is not a concession asked for in this package"
    faults += faults_of_unknown("/concessions_granted", form.concessions_granted, known=asked, detail=unknown)
    for number, concession in asked.items():
        accepted = [s for s in concession["segments"] if form.segments.get(s) is SegmentDecision.ACCEPTED]
        if accepted and number not in form.concessions_granted:
            detail = f"lacks concession {number}, without which segment {accepted[0]} does not conform"
            faults.append(Fault(pointer="/concessions_granted", detail=detail))
    if faults:
        raise errors.BodyInvalidError("The decision does not fit the package.", faults=faults)
