"""Signatures by people's own keys: who has to sign a package, what is still awaited, and the signed files sent in.

Started by: whoever reads a package or checks a signed file, which writes nothing; whoever sends one in for a role.
Writes: the upload, to be checked behind the request; one audit entry.
Leaves: the upload's `check_upload` job due.
"""

from collections.abc import Iterator
from uuid import UUID, uuid4

import orjson
from sqlmodel import Session

from service.actions.acceptance.decisions import package_etag, refuse_own_work
from service.actions.access.tokens import Caller
from service.errors import ConflictError, NotFoundError, PreconditionFailedError, WrongTokenKindError
from service.storage import access, jobs, packages, routes
from service.storage.tables import Decision, Package, SignatureUpload
from service.vocabulary.signatures import SignaturePlace, SignatureRole, SignedBy, UploadState
from service.vocabulary.states import JobKind, JobState


def signer_of(session: Session, package: Package, role: SignatureRole) -> str:
    """Return who has to sign for a role with a key of their own, if it is time."""
    if any(file.role == SignaturePlace(role) for file in packages.signatures_of(session, package)):
        raise ConflictError("This place on the package is signed already.")
    submission = packages.submission_of_package(session, package)
    if role is SignatureRole.CONTRACTOR:
        _refuse_where_sealed(submission.signature)
        return submission.responsible_person
    return _deciding_engineer(session, package)


def awaited_signatures(session: Session, package: Package, decision: Decision | None) -> Iterator[SignaturePlace]:
    """Give what is to be signed yet: by keys that were chosen, and the decision, which the service seals."""
    signed = {file.role for file in packages.signatures_of(session, package)}
    submission = packages.submission_of_package(session, package)
    if submission.signature is SignedBy.OWN_KEY and SignaturePlace.CONTRACTOR not in signed:
        yield SignaturePlace.CONTRACTOR
    if decision is None or not _is_sealed(session, package):
        yield SignaturePlace.DECISION
    elif _chosen(decision) is SignedBy.OWN_KEY and SignaturePlace.ENGINEER not in signed:
        yield SignaturePlace.ENGINEER


def find_signable(session: Session, caller: Caller, package_id: UUID, role: SignatureRole) -> Package:
    """Return a package for which the caller may send in a role's signature."""
    package = packages.find_package(session, caller.projects, package_id)
    if caller.kind.value != role.value:
        raise WrongTokenKindError(f"This signature comes with a token of: {role.value}.")
    return package


def take_upload(
    session: Session, caller: Caller, package_id: UUID, role: SignatureRole, *, sha256: str, etag: str
) -> SignatureUpload:
    """Have a signed file checked. The same bytes again are the same upload; refused ones are looked at once more."""
    routes.lock_route(session, caller.projects, find_signable(session, caller, package_id, role).route_id)
    package = find_signable(session, caller, package_id, role)
    upload = packages.same_upload(session, package, role, sha256)
    if upload is not None and upload.state != UploadState.REFUSED:
        return upload
    if etag != package_etag(package):
        raise PreconditionFailedError(
            "The package has another file by now: sign that one.", headers={"ETag": package_etag(package)}
        )
    signer = signer_of(session, package, role)
    if role is SignatureRole.ENGINEER:
        refuse_own_work(session, caller, packages.submission_of_package(session, package))
    upload = packages.keep_upload(
        session,
        SignatureUpload(
            project_id=package.project_id,
            id=uuid4() if upload is None else upload.id,
            package_id=package.id,
            role=role,
            sha256=sha256,
            base_sha256=package.current_sha256,
            signer=signer,
            state=UploadState.CHECKING,
            problems=[],
            uploaded_at=caller.now,
            checked_at=None,
            token_id=caller.token_id,
        ),
    )
    jobs.make_due(session, JobKind.CHECK_UPLOAD, project_id=package.project_id, subject_id=upload.id)
    caller.append_audit(session, package.project_id, "signature.sent_in", package.id, content_sha256=sha256)
    return upload


def find_own_upload(session: Session, caller: Caller, package_id: UUID, upload_id: UUID) -> SignatureUpload:
    """Return an upload of a package of the caller's projects."""
    package = packages.find_package(session, caller.projects, package_id)
    upload = packages.find_upload(session, package.project_id, upload_id)
    if upload.package_id != package.id:
        raise NotFoundError(f"No upload {upload_id}.")
    return upload


def _deciding_engineer(session: Session, package: Package) -> str:
    decision = packages.decision_on(session, package)
    if decision is None:
        raise ConflictError("The engineer signs a decision: decide with own_key first, and sign the file sealed then.")
    _refuse_where_sealed(_chosen(decision))
    if not _is_sealed(session, package):
        raise ConflictError("The decision is not sealed into the package yet: sign the file that comes of it.")
    holder = access.holder_of(session, decision.token_id)
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
    return jobs.state_of(session, JobKind.COUNTERSIGN, package.id) in {JobState.IDLE, JobState.DONE}
