"""What anybody who holds a package's code may know: that it was issued, what became of it, and its digests.

Started by: anybody with the code that is printed on the package, on a snapshot.
Writes: nothing. Leaves: nothing.
"""

import re

import orjson
from sqlmodel import Session

from service.actions.acceptance.decisions import SegmentDecision
from service.actions.acceptance.signatures import awaited_signatures
from service.errors import NotFoundError
from service.storage import packages
from service.storage.audit import hash_of_entry
from service.storage.tables import Decision, Package
from service.vocabulary.verification import AuditLink, RoleSignature, VerificationAnswer
from service.vocabulary.words import PackageDecision, PackageStanding

_GROUP = 4


def find_verification(session: Session, code: str) -> VerificationAnswer:
    """Return what a verification code stands for, however it was typed: any case, with or without its dashes."""
    package = packages.package_with_code(session, _canonical(code))
    if package is None:
        raise NotFoundError("No package has this verification code.")
    decision = packages.decision_on(session, package)
    link = hash_of_entry(session, package.project_id, package.audit_sequence)
    standing, superseded_by = _standing(session, package)
    return VerificationAnswer(
        number=package.number,
        issued_at=package.issued_at,
        decision=_spoken(decision),
        decided_at=None if decision is None else decision.decided_at,
        standing=standing,
        superseded_by=superseded_by,
        certified_sha256=package.certified_sha256,
        certified_level=package.certified_level,
        current_sha256=package.current_sha256,
        current_level=package.current_level,
        signatures=[RoleSignature.model_validate(file) for file in packages.signatures_of(session, package)],
        awaited_signatures=list(awaited_signatures(session, package, decision)),
        audit=AuditLink(sequence=package.audit_sequence, hash=link),
    )


def _canonical(code: str) -> str:
    letters = re.sub(r"[^0-9A-Z]", "", code.upper())
    return "-".join(letters[start : start + _GROUP] for start in range(0, len(letters), _GROUP))


def _spoken(decision: Decision | None) -> PackageDecision:
    if decision is None:
        return PackageDecision.UNDECIDED
    said = orjson.loads(decision.document)
    if "deemed_after_days" in said:
        return PackageDecision.DEEMED_ACCEPTED
    words = set(said["segments"].values())
    if words == {SegmentDecision.ACCEPTED.value}:
        return PackageDecision.ACCEPTED
    return PackageDecision.ACCEPTED_IN_PART if SegmentDecision.ACCEPTED.value in words else PackageDecision.REFUSED


def _standing(session: Session, package: Package) -> tuple[PackageStanding, str | None]:
    own = packages.submission_of_package(session, package)
    later = [(one.number, by) for one, by in packages.packages_beside(session, own) if by.number > own.number]
    if not later:
        return PackageStanding.CURRENT, None
    newest, _ = later[0]
    is_whole = set(own.segments) <= {segment for _, submission in later for segment in submission.segments}
    return (PackageStanding.SUPERSEDED if is_whole else PackageStanding.SUPERSEDED_IN_PART), newest
