"""What a receiver is told about a signed document."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from service.vocabulary.signatures import SignatureLevel, SignaturePlace, SignedBy


class State(StrEnum):
    """What a package is: whole, waiting for signatures, or not what it should be."""

    COMPLETE = "complete"
    AWAITING = "awaiting"
    BAD = "bad"


@dataclass(frozen=True, kw_only=True)
class TimestampReport:
    """A time that an authority states: of one signature, or of the document up to there.

    Neither intact nor trusted it is a problem, and proves no time.
    """

    stated_at: datetime
    authority: str
    is_intact: bool
    is_trusted: bool
    certificate_sha256: str
    is_demonstration: bool

    @property
    def is_good(self) -> bool:
        """Tell whether it proves its time."""
        return self.is_intact and self.is_trusted


@dataclass(frozen=True, kw_only=True)
class SignatureReport:
    """Who signed one field, when by their own claim and by proof, and what became of the document since.

    `is_trusted`: a trusted authority issued the certificate, and it was valid at `proven_at`; where no time is proven,
    at the time of checking. Revocation is not looked up: no network is used, so a certificate withdrawn by its issuer
    still shows as trusted, unless the document itself holds the proof. `baseline` is the level that was reached, `None`
    where it is not PAdES; `level` is the same in words. `title` is what people call this place: a seal stands under no
    person's.
    """

    field: str
    title: str
    signed_by: SignedBy
    signer: str
    signed_at: datetime | None
    proven_at: datetime | None
    timestamp: TimestampReport | None
    reason: str | None
    is_intact: bool
    is_trusted: bool
    covers_whole_file: bool
    level: str
    baseline: SignatureLevel | None
    changes: str
    certificate_sha256: str
    is_demonstration: bool


@dataclass(frozen=True, kw_only=True)
class PackageReport:
    """The judgement on one file: complete, awaiting signatures, or what is wrong with it in sentences for people.

    `form` is which signature fields it has, as `FORMS` numbers them; `awaited` is what the file itself says is to come.
    `certified_sha256` is the digest of the file as it was certified, with the document time stamps that followed at
    once and before anybody countersigned; `None` where there is no such part. A caller who knows the digest of what it
    issued compares it too. `level` is that of its weakest signature.
    """

    sha256: str
    form: int | None = None
    awaited: tuple[SignaturePlace, ...] = ()
    signatures: tuple[SignatureReport, ...] = ()
    timestamps: tuple[TimestampReport, ...] = ()
    problems: tuple[str, ...]
    certified_sha256: str | None = None
    attachments: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_sound(self) -> bool:
        """Tell whether every rule held for what is there, whatever is still to come."""
        return not self.problems

    @property
    def state(self) -> State:
        """Tell in one word what the file is."""
        if self.problems:
            return State.BAD
        return State.AWAITING if self.awaited else State.COMPLETE

    @property
    def is_good(self) -> bool:
        """Tell whether every rule held and nothing is awaited."""
        return self.state is State.COMPLETE

    @property
    def signed_fields(self) -> tuple[str, ...]:
        """Return the signed fields in the order of signing."""
        return tuple(signature.field for signature in self.signatures)

    @property
    def level(self) -> SignatureLevel | None:
        """Return the level that every signature reaches; `None` where one is not PAdES, or there is none."""
        reached = {signature.baseline for signature in self.signatures}
        return None if None in reached else next((level for level in SignatureLevel if level in reached), None)

    @property
    def is_demonstration(self) -> bool:
        """Tell whether a throwaway authority stands behind any signature or time stamp in it."""
        made = (*self.signatures, *self.timestamps, *(one.timestamp for one in self.signatures))
        return any(one.is_demonstration for one in made if one is not None)


class Signed(NamedTuple):
    """A file that was just signed, and what was read back from it."""

    pdf: bytes
    report: PackageReport
