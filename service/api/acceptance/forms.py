"""The forms of answers about what was submitted, issued and decided."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from pydantic import AliasChoices, BaseModel, BeforeValidator, ConfigDict, Field

from service.actions.acceptance.verifications import RoleSignature
from service.vocabulary import quantities as q
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignedBy


class SubmissionAnswer(BaseModel):
    """A submission and where it is."""

    id: UUID
    route_id: UUID
    number: int
    state: str
    segments: list[str]
    verdict_digest: str
    design_revision: int
    criteria_version: int
    concessions: list[dict[str, Any]]
    responsible_person: str
    signature: SignedBy
    submitted_at: datetime
    problem: str | None
    package_id: UUID | None = None


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


class DecisionAnswer(BaseModel):
    """A decision as it was recorded."""

    model_config = ConfigDict(from_attributes=True)

    package_id: UUID
    package_sha256: str
    sha256: str
    decided_at: datetime
    decision: Annotated[dict[str, Any], BeforeValidator(orjson.loads)] = Field({}, validation_alias="document")
