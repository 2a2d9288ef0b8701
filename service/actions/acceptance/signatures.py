"""Who signs a package with a key of their own, and what of it is still to be signed or sealed.

Started by: whoever reads a package, sends a signed file in or checks it.
Writes: nothing. Leaves: nothing.
"""

from collections.abc import Iterator

import orjson
from sqlmodel import Session

from service.errors import ConflictError
from service.storage.decisions import decision_on
from service.storage.jobs import state_of
from service.storage.packages import signatures_of, submission_of_package
from service.storage.tables import Decision, Package
from service.storage.tokens import holder_of
from service.vocabulary.signatures import SignaturePlace, SignatureRole, SignedBy
from service.vocabulary.states import JobKind, JobState


def signer_of(session: Session, package: Package, role: SignatureRole) -> str:
    """Return who has to sign for a role with a key of their own, if it is time."""
    if any(file.role == SignaturePlace(role) for file in signatures_of(session, package)):
        raise ConflictError("This place on the package is signed already.")
    submission = submission_of_package(session, package)
    if role is SignatureRole.CONTRACTOR:
        _refuse_where_sealed(submission.signature)
        return submission.responsible_person
    return _deciding_engineer(session, package)


def awaited_signatures(session: Session, package: Package, decision: Decision | None) -> Iterator[SignaturePlace]:
    """Give what is to be signed yet: by keys that were chosen, and the decision, which the service seals."""
    signed = {file.role for file in signatures_of(session, package)}
    submission = submission_of_package(session, package)
    if submission.signature is SignedBy.OWN_KEY and SignaturePlace.CONTRACTOR not in signed:
        yield SignaturePlace.CONTRACTOR
    if decision is None or not _is_sealed(session, package):
        yield SignaturePlace.DECISION
    elif _chosen(decision) is SignedBy.OWN_KEY and SignaturePlace.ENGINEER not in signed:
        yield SignaturePlace.ENGINEER


def _deciding_engineer(session: Session, package: Package) -> str:
    decision = decision_on(session, package)
    if decision is None:
        raise ConflictError("The engineer signs a decision: decide with own_key first, and sign the file sealed then.")
    _refuse_where_sealed(_chosen(decision))
    if not _is_sealed(session, package):
        raise ConflictError("The decision is not sealed into the package yet: sign the file that comes of it.")
    holder = holder_of(session, decision.token_id)
    if holder is None:
        raise ConflictError("Nobody is known who could sign: a token that names its holder is needed.")
    return holder


def _refuse_where_sealed(chosen: SignedBy) -> None:
    if chosen is SignedBy.SERVICE_SEAL:
        raise ConflictError("What was done here is signed by the service's seal, as was chosen then.")


def _chosen(decision: Decision) -> SignedBy:
    return SignedBy(orjson.loads(decision.document)["signature"])


def _is_sealed(session: Session, package: Package) -> bool:
    # Packages of earlier releases have no place for the decision, and no such job where the engineer signs.
    return state_of(session, JobKind.COUNTERSIGN, package.id) in {JobState.IDLE, JobState.DONE}
