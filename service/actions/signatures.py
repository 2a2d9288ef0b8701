"""Who signs a package, and by what: each role by its own key, or by the service's seal over what it did."""

from collections.abc import Iterator

import orjson
from sqlmodel import Session

from service.errors import ConflictError
from service.storage.package_files import signatures_of
from service.storage.tables import Decision, Package, Submission, Token
from service.storage.verdicts import submission_of_package
from service.vocabulary.signatures import SignatureRole, SignedBy


def chosen_for(submission: Submission, decision: Decision | None) -> dict[SignatureRole, SignedBy]:
    """Return by what each role signs, as far as it has said."""
    chosen = {SignatureRole.CONTRACTOR: SignedBy(submission.signature)}
    if decision is not None:
        chosen[SignatureRole.ENGINEER] = SignedBy(orjson.loads(decision.document)["signature"])
    return chosen


def signer_of(session: Session, package: Package, role: SignatureRole, *, sender: str | None) -> str:
    """Return who has to sign for a role with a key of their own: before a decision, the engineer who sends it."""
    submission = submission_of_package(session, package)
    decision = session.get(Decision, (package.project_id, package.id))
    if any(file.role == role.value for file in signatures_of(session, package)):
        raise ConflictError("This place on the package is signed already.")
    if chosen_for(submission, decision).get(role) is SignedBy.SERVICE_SEAL:
        raise ConflictError("What was done here is signed by the service's seal, as was chosen then.")
    if role is SignatureRole.CONTRACTOR:
        return submission.responsible_person
    if decision is not None:
        token = None if decision.token_id is None else session.get(Token, decision.token_id)
        sender = None if token is None else token.holder
    if sender is None:
        raise ConflictError("Nobody is known who could sign: a token that names its holder is needed.")
    return sender


def awaited_signatures(session: Session, package: Package, decision: Decision | None) -> Iterator[SignatureRole]:
    """Give the roles that sign with a key of their own and have not yet."""
    signed = {file.role for file in signatures_of(session, package)}
    for role, by in chosen_for(submission_of_package(session, package), decision).items():
        if by is SignedBy.OWN_KEY and role not in signed:
            yield role
