"""What a receiver is told about a signed document."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class SignatureReport:
    """Who signed one field, when by their own claim, and what became of the document since.

    `is_trusted`: a trusted authority issued the certificate, and it was valid at the time of checking.
    Revocation is not looked up: no network is used, so a certificate withdrawn by its issuer still shows as trusted.
    """

    field: str
    signer: str
    signed_at: datetime | None
    reason: str | None
    is_intact: bool
    is_trusted: bool
    covers_whole_file: bool
    level: str
    changes: str
    certificate_sha256: str
    is_demonstration: bool


@dataclass(frozen=True, kw_only=True)
class PackageReport:
    """The judgement on one file: good, or what is wrong with it in sentences for people.

    `certified_sha256` is the digest of the file as it was certified, before anybody countersigned;
    `None` where there is no such part. A caller who knows the digest of what it issued compares it too.
    """

    sha256: str
    signatures: tuple[SignatureReport, ...] = ()
    problems: tuple[str, ...]
    certified_sha256: str | None = None
    attachments: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_good(self) -> bool:
        """Tell whether every rule of acceptance held."""
        return not self.problems

    @property
    def signed_fields(self) -> tuple[str, ...]:
        """Return the signed fields in the order of signing."""
        return tuple(signature.field for signature in self.signatures)
