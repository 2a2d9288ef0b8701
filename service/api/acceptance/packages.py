"""Packages: read by contractor, engineer and billing, decided by the engineer."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Header, Response
from fastapi.responses import StreamingResponse
from pydantic import AliasChoices, BaseModel, BeforeValidator, Field
from sqlmodel import Session

from service.actions.acceptance import decisions as actions
from service.actions.acceptance import deeming
from service.actions.acceptance.decisions import DecisionForm, package_etag
from service.actions.acceptance.deeming import DefectNotice
from service.actions.acceptance.signatures import awaited_signatures
from service.actions.records.evidence import evidence_of
from service.api.acceptance.archive import write_manifest, zipped
from service.api.gate import ContractorOrEngineerGate, EngineerGate, PackageGate
from service.api.routing import CheckedRoute, RowAnswer
from service.errors import PreconditionMissingError
from service.storage import packages
from service.storage.tables import Package
from service.vocabulary import quantities as q
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.evidence import file_name
from service.vocabulary.signatures import SignatureLevel, SignaturePlace
from service.vocabulary.verification import RoleSignature
from service.vocabulary.words import TokenKind

router = APIRouter(prefix="/v1/packages/{package_id}", route_class=CheckedRoute, tags=["packages"])
_IMMUTABLE = "private, immutable"


class Signature(RoleSignature):
    """A signature in a package, whose it is by opaque id, and the certificate behind it.

    Under a seal the certificate is the service's own; the signer is whose act it seals, none where the clock decided.
    """

    signer: str | None = Field(validation_alias=AliasChoices("signer", "person"))
    certificate_sha256: q.Sha256


class EvidenceCounts(BaseModel):
    """How many files the records behind a package name, and how many of these were sent in so far."""

    named: int
    received: int


class PackageAnswer(BaseModel):
    """A package's facts; the files are at `/pdf` and `/findings`. `certified_sha256` is what a decision names.

    `current_sha256` is the file with every signature so far; `awaited_signatures` are the places that are to be signed
    yet: the decision, which the service seals once it is made, and people who sign with keys of their own. The levels
    are those of the weakest signature in each file, as it was read back.

    It is deemed accepted at `deemed_at`, unless a decision or a defect notice comes before.
    """

    id: UUID
    number: str
    submission_id: UUID
    route_id: UUID
    verification_code: str
    certified_sha256: str
    certified_level: SignatureLevel
    findings_sha256: str
    current_sha256: str
    current_level: SignatureLevel
    issued_at: datetime
    deemed_at: datetime | None
    defect_noticed_at: datetime | None
    defect_notice: str | None
    segments: list[str] = []
    evidence: EvidenceCounts | None = None
    decision: dict[str, Any] | None = None
    signatures: list[Signature] = []
    awaited_signatures: list[SignaturePlace] = []


class DecisionAnswer(RowAnswer):
    """A decision as it was recorded."""

    package_id: UUID
    package_sha256: str
    sha256: str
    decided_at: datetime
    decision: Annotated[dict[str, Any], BeforeValidator(orjson.loads)] = Field({}, validation_alias="document")


@router.get("")
def read_package(gate: PackageGate, package_id: UUID, response: Response) -> PackageAnswer:
    """Read a package's facts and digests, and its decision."""
    with gate.read_snapshot() as (session, caller):
        package = packages.find_package(session, caller.projects, package_id)
        response.headers["ETag"] = package_etag(package)
        answer = _answer(session, package)
    return _without_people(answer) if caller.kind is TokenKind.BILLING else answer


@router.get("/pdf", response_class=Response, responses={200: {"content": {"application/pdf": {}}}})
def read_pdf(gate: ContractorOrEngineerGate, package_id: UUID) -> Response:
    """Read the package's current file: certified, with every signature so far."""
    with gate.read_snapshot() as (session, caller):
        package = packages.find_package(session, caller.projects, package_id)
    content = gate.blobs.get(package.current_sha256)
    return Response(content, media_type="application/pdf", headers=_file_headers(package, "pdf"))


@router.get("/findings", response_class=Response, responses={200: {"content": {"application/json": {}}}})
def read_package_findings(gate: ContractorOrEngineerGate, package_id: UUID) -> Response:
    """Read the verdict that is attached to the package, byte for byte."""
    with gate.read_snapshot() as (session, caller):
        package = packages.find_package(session, caller.projects, package_id)
    content = gate.blobs.get(package.findings_sha256)
    headers = {"ETag": f'"{package.findings_sha256}"', "Cache-Control": _IMMUTABLE}
    return Response(content, media_type="application/json", headers=headers)


@router.get("/archive", response_class=Response, responses={200: {"content": {"application/zip": {}}}})
def read_archive(gate: ContractorOrEngineerGate, package_id: UUID) -> Response:
    """Read the package's file, its data, the evidence that came so far and a manifest of their SHA-256, as one ZIP."""
    with gate.read_snapshot() as (session, caller):
        package = packages.find_package(session, caller.projects, package_id)
        evidence = evidence_of(session, package)
    digests = {"package.pdf": package.current_sha256}
    digests |= {f"attached/{name}": package.attached[name] for name in sorted(package.attached)}
    digests |= {f"evidence/{file_name(sha256, media)}": sha256 for sha256, media in evidence.here.items()}
    manifest = write_manifest(digests, missing=evidence.missing)
    # Before the first byte leaves: after it nothing can be said any more.
    for sha256 in digests.values():
        gate.blobs.check(sha256)
    return StreamingResponse(
        zipped(digests, manifest=manifest, read=gate.blobs.pieces, made_at=package.issued_at),
        media_type="application/zip",
        # Evidence comes whenever it comes, and makes another archive of the same package.
        headers=_file_headers(package, "zip") | {"ETag": f'"{sha256_hex(manifest.encode())}"'},
    )


@router.post("/defect_notice")
def notice_defect(gate: EngineerGate, package_id: UUID, notice: DefectNotice) -> PackageAnswer:
    """Give notice of a defect: the package is not deemed accepted any more, and waits for a decision."""
    with gate.write_session() as (session, caller):
        return _answer(session, deeming.notice_defect(session, caller, package_id, notice))


@router.post("/decision")
def decide(
    gate: EngineerGate,
    package_id: UUID,
    form: DecisionForm,
    if_match: Annotated[str | None, Header(description="The ETag of the package that was seen.")] = None,
) -> DecisionAnswer:
    """Accept or refuse every segment of a package; accepted ones make their notices for billing."""
    if if_match is None:
        raise PreconditionMissingError("Send If-Match with the ETag of what was seen.")
    with gate.write_session() as (session, caller):
        return DecisionAnswer.model_validate(actions.decide(session, caller, package_id, if_match, form))


def _file_headers(package: Package, ending: str) -> dict[str, str]:
    name = package.number.replace("/", "-")
    return {
        "ETag": package_etag(package),
        "Cache-Control": "private, no-cache",
        "Content-Disposition": f'attachment; filename="{name}.{ending}"',
    }


def _answer(session: Session, package: Package) -> PackageAnswer:
    decision = packages.decision_on(session, package)
    segments = packages.submission_of_package(session, package).segments
    evidence = evidence_of(session, package)
    document = None if decision is None else orjson.loads(decision.document)
    answer = PackageAnswer.model_validate(package, from_attributes=True)
    return answer.model_copy(
        update={
            "segments": segments,
            "evidence": EvidenceCounts(named=len(evidence.here) + len(evidence.missing), received=len(evidence.here)),
            "decision": document,
            "signatures": [Signature.model_validate(file) for file in packages.signatures_of(session, package)],
            "awaited_signatures": list(awaited_signatures(session, package, decision)),
        }
    )


def _without_people(answer: PackageAnswer) -> PackageAnswer:
    """Leave out what may name people and places; billing reads what it needs in the notices."""
    signatures = [one.model_copy(update={"signer": None}) for one in answer.signatures]
    return answer.model_copy(update={"decision": None, "defect_notice": None, "signatures": signatures})
