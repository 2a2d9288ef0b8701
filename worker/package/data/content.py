"""What a package is drawn from: everything that was frozen when the segments were submitted."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.finding import FibreDocument, FindingDocument, VerdictDocument
from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.people import PrintedPerson
from service.vocabulary.signatures import SignatureLevel, SignedBy

# How pages are drawn from the data: raised whenever the same data would give other pages, and a test asks for it.
PAGES_FORM = 2


@dataclass(frozen=True, kw_only=True)
class PackagedRecord:
    """A record in its canonical form, and what became of it."""

    body: Mapping[str, Any]
    is_ended: bool
    clock_is_flagged: bool
    end_reason: str | None = None


@dataclass(frozen=True, kw_only=True)
class PlannedSeal:
    """The level that the seal has to reach, and where its time comes from; `None` is the service's own clock."""

    level: SignatureLevel
    time_authority: str | None


class Now(StrEnum):
    """What is left of an earlier package's word on a segment when this package is made."""

    STANDS = "stands"
    WITHDRAWN = "withdrawn"
    SUPERSEDED = "superseded"


@dataclass(frozen=True, kw_only=True)
class EarlierSegment:
    """The word on a segment in an earlier package, `None` for none, and what is left of it.

    `superseded_by` is the number of the next package with the segment; `reason` says why an acceptance was withdrawn.
    """

    word: str | None
    now: Now
    superseded_by: str | None = None
    reason: str | None = None


@dataclass(frozen=True, kw_only=True)
class EarlierPackage:
    """An earlier package with some of the same segments: its decision, and what stands of it segment by segment."""

    number: str
    segments: Mapping[str, EarlierSegment]
    decided_at: datetime | None = None
    is_deemed: bool = False
    reason: str | None = None


@dataclass(frozen=True, kw_only=True)
class PackageContent:
    """A submission with the design, criteria, verdict and records it stands on.

    `released` is what stands in the package.json of a package that an earlier release made, in its form.
    """

    number: str
    project_code: str
    project_name: str
    owner: str
    contractor: str
    design: Design
    design_revision: int
    design_sha256: str
    criteria: Criteria
    criteria_version: int
    criteria_sha256: str
    verdict: VerdictDocument
    verdict_digest: str
    fibres: Sequence[FibreDocument]
    segments: Sequence[str]
    supersedes: Sequence[EarlierPackage]
    concessions: Sequence[Concession]
    responsible_person: PrintedPerson
    contractor_signature: SignedBy
    submitted_at: datetime
    made_at: datetime
    records: Sequence[PackagedRecord]
    audit_sequence: int
    audit_hash: str
    verification_code: str
    verification_url: str | None
    is_demonstration: bool
    program: str
    seal: PlannedSeal
    pages_form: int = PAGES_FORM
    released: Mapping[str, Any] | None = None

    def all_findings(self) -> Iterator[FindingDocument]:
        """Give every finding of the route: those about all fibres together, then those of each fibre."""
        yield from self.verdict.get("findings", ())
        for fibre in self.fibres:
            yield from fibre["findings"]

    @property
    def tolerated_dark(self) -> Sequence[int]:
        """The dark fibres that the criteria tolerate: neither accepted nor paid."""
        return self.verdict.get("tolerated_dark", ())

    @property
    def fibres_in_scope(self) -> frozenset[int]:
        """The fibres of the segments submitted."""
        return frozenset(
            fibre
            for segment in self.design.segments
            if segment.id in self.segments
            for numbers in segment.fibres
            for fibre in numbers.numbers()
        )

    def all_suspicions(self) -> Sequence[SuspicionDocument]:
        """Return what looks unlike honest work on the route."""
        return self.verdict.get("suspicions", ())
