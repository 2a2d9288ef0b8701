"""What anybody may know of a package by its code: as the service answers it and the command line reads it."""

from datetime import datetime

from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from service.vocabulary import quantities as q
from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignedBy
from service.vocabulary.words import PackageDecision, PackageStanding


class RoleSignature(BaseModel):
    """A signature after issue: in which place, by what, when by its own claim, and the file it made.

    The service's seal over the decision is in a place of its own; `level` is that of all signatures in the file.
    """

    model_config = ConfigDict(from_attributes=True)

    role: SignaturePlace
    by: SignedBy = Field(validation_alias=AliasChoices("by", "signed_by"))
    signed_at: datetime
    file_sha256: q.Sha256 = Field(validation_alias=AliasChoices("file_sha256", "sha256"))
    level: SignatureLevel


class AuditLink(BaseModel):
    """An entry of the project's audit chain, by the hash that it has now; null if the chain has none of this number."""

    sequence: int
    hash: str | None


class VerificationAnswer(BaseModel):
    """What anybody may know of a package; `superseded_by` is the number of the newest that takes its place.

    `audit` is the entry that the package states as its audit head: another hash than the stated one is another history.
    """

    number: str
    issued_at: datetime
    decision: PackageDecision
    decided_at: datetime | None
    standing: PackageStanding
    superseded_by: str | None
    certified_sha256: str
    certified_level: SignatureLevel
    current_sha256: str
    current_level: SignatureLevel
    signatures: list[RoleSignature]
    awaited_signatures: list[SignaturePlace]
    audit: AuditLink
