"""Take in a package that somebody signed with a key of their own: it is checked behind the request.

Started by: whoever signs for a role.
Writes: the upload, to be checked; one audit entry.
Leaves: the upload's `check_upload` job due.
"""

from uuid import UUID, uuid4

from sqlmodel import Session

from service.actions.acceptance.decisions import package_etag, refuse_own_work
from service.actions.acceptance.signatures import signer_of
from service.actions.access.tokens import Caller
from service.errors import NotFoundError, PreconditionFailedError, WrongTokenKindError
from service.storage.jobs import make_due
from service.storage.packages import find_package, find_upload, keep_upload, same_upload, submission_of_package
from service.storage.routes import lock_route
from service.storage.tables import Package, SignatureUpload
from service.vocabulary.signatures import SignatureRole, UploadState
from service.vocabulary.states import JobKind


def find_signable(session: Session, caller: Caller, package_id: UUID, role: SignatureRole) -> Package:
    """Return a package for which the caller may send in a role's signature."""
    package = find_package(session, caller.projects, package_id)
    if caller.kind.value != role.value:
        raise WrongTokenKindError(f"This signature comes with a token of: {role.value}.")
    return package


def take_upload(
    session: Session, caller: Caller, package_id: UUID, role: SignatureRole, *, sha256: str, etag: str
) -> SignatureUpload:
    """Have a signed file checked. The same bytes again are the same upload; refused ones are looked at once more."""
    lock_route(session, caller.projects, find_signable(session, caller, package_id, role).route_id)
    package = find_signable(session, caller, package_id, role)
    upload = same_upload(session, package, role, sha256)
    if upload is not None and upload.state != UploadState.REFUSED:
        return upload
    if etag != package_etag(package):
        raise PreconditionFailedError(
            "The package has another file by now: sign that one.", headers={"ETag": package_etag(package)}
        )
    signer = signer_of(session, package, role)
    if role is SignatureRole.ENGINEER:
        refuse_own_work(session, caller, submission_of_package(session, package))
    upload = keep_upload(
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
    make_due(session, JobKind.CHECK_UPLOAD, project_id=package.project_id, subject_id=upload.id)
    caller.append_audit(session, package.project_id, "signature.sent_in", package.id, content_sha256=sha256)
    return upload


def find_own_upload(session: Session, caller: Caller, package_id: UUID, upload_id: UUID) -> SignatureUpload:
    """Return an upload of a package of the caller's projects."""
    package = find_package(session, caller.projects, package_id)
    upload = find_upload(session, package.project_id, upload_id)
    if upload.package_id != package.id:
        raise NotFoundError(f"No upload {upload_id}.")
    return upload
