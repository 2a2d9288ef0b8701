"""Signatures by people's own keys: a package goes out, is signed with any tool, and comes back here."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

from fastapi import APIRouter, Header, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import AliasChoices, Field

from service.actions.acceptance import signatures as actions
from service.api.gate import ContractorOrEngineerGate, Gate
from service.api.routing import FileRoute, RowAnswer, media_type_of, receive_body
from service.errors import PreconditionMissingError
from service.settings import MAX_SIGNATURE_BYTES
from service.vocabulary.signatures import SignatureRole, UploadState

PDF = "application/pdf"
router = APIRouter(prefix="/v1/packages/{package_id}/signatures", route_class=FileRoute, tags=["packages"])


class UploadAnswer(RowAnswer):
    """A signed file that was sent in: taken as the package's current file, or refused with what is wrong with it."""

    id: UUID
    package_id: UUID
    role: SignatureRole
    state: UploadState
    problems: list[str]
    file_sha256: str = Field(validation_alias=AliasChoices("file_sha256", "sha256"))
    signer: str
    uploaded_at: datetime
    checked_at: datetime | None


@router.put(
    "/{role}",
    status_code=202,
    openapi_extra={
        "requestBody": {"required": True, "content": {PDF: {"schema": {"type": "string", "format": "binary"}}}}
    },
)
async def upload_signature(
    gate: ContractorOrEngineerGate,
    request: Request,
    response: Response,
    package_id: UUID,
    role: SignatureRole,
    if_match: Annotated[str | None, Header(description="The ETag of the file that was signed.")] = None,
) -> UploadAnswer:
    """Send in the package's current file, signed with a key of one's own; what came of it is read at `Location`."""
    if if_match is None:
        raise PreconditionMissingError("Send If-Match with the ETag of the file that was signed.")
    limit = await run_in_threadpool(_largest, gate, package_id, role)
    media_type_of(request, PDF)
    with gate.blobs.receive_from_outside() as incoming:
        await receive_body(request, incoming, limit=limit)
        sha256 = await run_in_threadpool(incoming.keep)
    answer = await run_in_threadpool(_take, gate, package_id, role, sha256, if_match)
    response.headers["Location"] = f"/v1/packages/{package_id}/signatures/uploads/{answer.id}"
    response.headers["Retry-After"] = "1"
    return answer


@router.get("/uploads/{upload_id}")
def read_upload(gate: ContractorOrEngineerGate, package_id: UUID, upload_id: UUID) -> UploadAnswer:
    """Read what came of a signed file: still being checked, taken, or refused with what is wrong with it."""
    with gate.read_snapshot() as (session, caller):
        return UploadAnswer.model_validate(actions.find_own_upload(session, caller, package_id, upload_id))


def _largest(gate: Gate, package_id: UUID, role: SignatureRole) -> int:
    """Return how large the signed file may be, for one who may send it."""
    with gate.read_snapshot() as (session, caller):
        package = actions.find_signable(session, caller, package_id, role)
    return gate.blobs.size(package.current_sha256) + MAX_SIGNATURE_BYTES


def _take(gate: Gate, package_id: UUID, role: SignatureRole, sha256: str, etag: str) -> UploadAnswer:
    with gate.write_session() as (session, caller):
        upload = actions.take_upload(session, caller, package_id, role, sha256=sha256, etag=etag)
        return UploadAnswer.model_validate(upload)
