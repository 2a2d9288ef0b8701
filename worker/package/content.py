"""What a package is drawn from: everything that was frozen when the segments were submitted."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.vocabulary.concession import Concession
from service.vocabulary.criteria import Criteria
from service.vocabulary.design import Design
from service.vocabulary.finding import FibreDocument, FindingDocument, VerdictDocument
from service.vocabulary.suspicion import SuspicionDocument


@dataclass(frozen=True, kw_only=True)
class PackagedRecord:
    """A record in its canonical form, and what became of it."""

    body: Mapping[str, Any]
    is_ended: bool
    clock_is_flagged: bool
    end_reason: str | None = None


@dataclass(frozen=True, kw_only=True)
class EarlierPackage:
    """An earlier package with some of the same segments, and the word on each of them there, `None` for none."""

    number: str
    segments: Mapping[str, str | None]


@dataclass(frozen=True, kw_only=True)
class PackageContent:
    """A submission with the design, criteria, verdict and records it stands on."""

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
    responsible_person: str
    submitted_at: datetime
    records: Sequence[PackagedRecord]
    audit_sequence: int
    audit_hash: str
    verification_code: str
    verification_url: str | None
    is_demonstration: bool

    def all_findings(self) -> Iterator[FindingDocument]:
        """Give every finding of the route: those about all fibres together, then those of each fibre."""
        yield from self.verdict.get("findings", ())
        for fibre in self.fibres:
            yield from fibre["findings"]

    @property
    def tolerated_dark(self) -> Sequence[int]:
        """The dark fibres that the criteria tolerate: neither accepted nor paid."""
        return self.verdict.get("tolerated_dark", ())

    def all_suspicions(self) -> Sequence[SuspicionDocument]:
        """Return what looks unlike honest work on the route."""
        return self.verdict.get("suspicions", ())
