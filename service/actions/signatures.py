"""Who signs a package, and by what: each role by its own key, or by the service's seal over what it did."""

from collections.abc import Iterator

import orjson
from sqlmodel import Session

from service.storage.package_files import signatures_of
from service.storage.tables import Decision, Package, Submission
from service.storage.verdicts import submission_of_package
from service.vocabulary.signatures import SignatureRole, SignedBy


def chosen_for(submission: Submission, decision: Decision | None) -> dict[SignatureRole, SignedBy]:
    """Return by what each role signs, as far as it has said."""
    chosen = {SignatureRole.CONTRACTOR: SignedBy(submission.signature)}
    if decision is not None:
        chosen[SignatureRole.ENGINEER] = SignedBy(orjson.loads(decision.document)["signature"])
    return chosen


def awaited_signatures(session: Session, package: Package, decision: Decision | None) -> Iterator[SignatureRole]:
    """Give the roles that sign with a key of their own and have not yet."""
    signed = {file.role for file in signatures_of(session, package)}
    for role, by in chosen_for(submission_of_package(session, package), decision).items():
        if by is SignedBy.OWN_KEY and role not in signed:
            yield role
