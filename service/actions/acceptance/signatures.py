"""Who signs a package with a key of their own, and what of it is still to be signed or sealed."""

from collections.abc import Iterator

import orjson
from sqlmodel import Session

from service.errors import ConflictError
from service.storage.jobs import JobKind, JobState, state_of
from service.storage.package_files import signatures_of
from service.storage.tables import Decision, Package, Submission, Token
from service.storage.verdicts import submission_of_package
from service.vocabulary.signatures import SignaturePlace, SignatureRole, SignedBy


def signer_of(session: Session, package: Package, role: SignatureRole) -> str:
    """Return who has to sign for a role with a key of their own, if it is time."""
    if any(file.role == role.value for file in signatures_of(session, package)):
        raise ConflictError("This place on the package is signed already.")
    submission = submission_of_package(session, package)
    if role is SignatureRole.CONTRACTOR:
        _refuse_where_sealed(SignedBy(submission.signature))
        return submission.responsible_person
    return _deciding_engineer(session, package)


def awaited_signatures(session: Session, package: Package, decision: Decision | None) -> Iterator[SignaturePlace]:
    """Give what is to be signed yet: by keys that were chosen, and the decision, which the service seals."""
    signed = {file.role for file in signatures_of(session, package)}
    submission = submission_of_package(session, package)
    if _signs_alone(submission) and SignaturePlace.CONTRACTOR.value not in signed:
        yield SignaturePlace.CONTRACTOR
    if decision is None or not _is_sealed(session, package):
        yield SignaturePlace.DECISION
    elif _chosen(decision) is SignedBy.OWN_KEY and SignaturePlace.ENGINEER.value not in signed:
        yield SignaturePlace.ENGINEER


def _deciding_engineer(session: Session, package: Package) -> str:
    decision = session.get(Decision, (package.project_id, package.id))
    if decision is None:
        raise ConflictError("The engineer signs a decision: decide with own_key first, and sign the file sealed then.")
    _refuse_where_sealed(_chosen(decision))
    if not _is_sealed(session, package):
        raise ConflictError("The decision is not sealed into the package yet: sign the file that comes of it.")
    token = None if decision.token_id is None else session.get(Token, decision.token_id)
    if token is None or token.holder is None:
        raise ConflictError("Nobody is known who could sign: a token that names its holder is needed.")
    return token.holder


def _refuse_where_sealed(chosen: SignedBy) -> None:
    if chosen is SignedBy.SERVICE_SEAL:
        raise ConflictError("What was done here is signed by the service's seal, as was chosen then.")


def _signs_alone(submission: Submission) -> bool:
    return SignedBy(submission.signature) is SignedBy.OWN_KEY


def _chosen(decision: Decision) -> SignedBy:
    return SignedBy(orjson.loads(decision.document)["signature"])


def _is_sealed(session: Session, package: Package) -> bool:
    # Packages of earlier releases have no place for the decision, and no such job where the engineer signs.
    return state_of(session, JobKind.COUNTERSIGN, package.id) in {JobState.IDLE, JobState.DONE}
