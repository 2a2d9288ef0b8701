"""Evidence files: sent in by who recorded the work, piece by piece, and read by contractor and engineer."""

from datetime import datetime
from uuid import UUID

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse

from service.actions.records import evidence as actions
from service.api.gate import ContractorOrEngineerGate, Gate, RecordingGate
from service.api.routing import FileRoute, RowAnswer, media_type_of, receive_body
from service.errors import EvidenceMismatchError
from service.storage.records import find_file
from service.vocabulary import quantities as q
from service.vocabulary.evidence import EvidenceType, file_name

router = APIRouter(prefix="/v1/projects/{project_id}/evidence", route_class=FileRoute, tags=["records"])
_FILE = {"schema": {"type": "string", "format": "binary"}}


class EvidenceAnswer(RowAnswer):
    """A file that was sent in."""

    sha256: str
    size_bytes: int
    media_type: EvidenceType
    received_at: datetime


@router.put(
    "/{sha256}",
    status_code=201,
    openapi_extra={"requestBody": {"required": True, "content": dict.fromkeys(EvidenceType, _FILE)}},
)
async def send_evidence(
    gate: RecordingGate, request: Request, response: Response, project_id: UUID, sha256: q.Sha256
) -> EvidenceAnswer:
    """Send in a file that a record names by its SHA-256, before that record or after it; the same again answers 200."""
    # Before its body is taken: nobody else has anything written here.
    await run_in_threadpool(_admit, gate, project_id)
    media_type = EvidenceType(media_type_of(request, *EvidenceType))
    with gate.blobs.receive_from_outside() as incoming:
        await receive_body(request, incoming, limit=request.app.state.max_evidence_bytes)
        if incoming.sha256 != sha256:
            raise EvidenceMismatchError(f"What came has the SHA-256 {incoming.sha256}.")
        await run_in_threadpool(incoming.keep)
    answer, is_new = await run_in_threadpool(_keep, gate, project_id, sha256, media_type)
    response.status_code = 201 if is_new else 200
    return answer


@router.get("/{sha256}", response_class=Response, responses={200: {"content": {media: {} for media in EvidenceType}}})
def read_evidence(gate: ContractorOrEngineerGate, project_id: UUID, sha256: q.Sha256) -> Response:
    """Read a file that was sent in, byte for byte."""
    with gate.read_snapshot_of(project_id) as (session, _, project):
        file = find_file(session, project, sha256)
    gate.blobs.check(sha256)
    name = file_name(sha256, EvidenceType(file.media_type))
    headers = {
        "ETag": f'"{sha256}"',
        "Cache-Control": "private, immutable",
        "Content-Length": str(file.size_bytes),
        # Its type is what the sender says: no browser shows it beside our pages, or takes it for something else.
        "Content-Disposition": f'attachment; filename="{name}"',
        "X-Content-Type-Options": "nosniff",
    }
    return StreamingResponse(gate.blobs.pieces(sha256), media_type=file.media_type, headers=headers)


def _admit(gate: Gate, project_id: UUID) -> None:
    with gate.read_snapshot_of(project_id):
        pass


def _keep(gate: Gate, project_id: UUID, sha256: str, media_type: EvidenceType) -> tuple[EvidenceAnswer, bool]:
    size_bytes = gate.blobs.size(sha256)
    with gate.write_session_in(project_id) as (session, caller, project):
        file, is_new = actions.keep_evidence(
            session, caller, project, sha256=sha256, size_bytes=size_bytes, media_type=media_type
        )
        return EvidenceAnswer.model_validate(file), is_new
