"""What a package is drawn from: everything that was frozen when the segments were submitted."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any, Literal

import orjson
from pydantic import Field, PlainSerializer

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.finding import FibreDocument, FindingDocument, VerdictDocument
from service.vocabulary.instants import canonical_time
from service.vocabulary.people import PrintedPerson
from service.vocabulary.signatures import SignatureLevel, SignedBy

# How pages are drawn from the data: raised whenever the same data would give other pages, and a test asks for it.
PAGES_FORM = 2


def _never_null(schema: dict[str, Any]) -> None:
    """Describe a member that is left out where it is not known."""
    del schema["default"]
    [known] = [one for one in schema.pop("anyOf") if one != {"type": "null"}]
    schema.update(known)


# Members that are left out of the file where they are not known.
_IF_KNOWN = Field(json_schema_extra=_never_null)
_Text = Annotated[str | None, _IF_KNOWN]
_Time = Annotated[datetime, PlainSerializer(canonical_time, return_type=str)]


@dataclass(frozen=True, kw_only=True, slots=True)
class PackagedRecord:
    """A record, and what became of it; kept as canonical text: as objects those of 864 fibres take 85 MB more."""

    text: str
    is_ended: bool
    clock_is_flagged: bool
    end_reason: str | None = None
    annulment_reason: str | None = None
    is_of_other_route: bool = False

    @property
    def body(self) -> Mapping[str, Any]:
        """What the record says, read anew whenever it is asked for."""
        body: Mapping[str, Any] = orjson.loads(self.text)
        return body


@dataclass(frozen=True, kw_only=True)
class AuditHead:
    """The last entry of the project's audit chain when the package was made."""

    sequence: int
    hash: str


@dataclass(frozen=True, kw_only=True)
class Seal:
    """The level that the service's seal was to reach, and the host of the authority that gives its time."""

    level: SignatureLevel
    time_authority: _Text = None


Word = Literal["accepted", "refused"]


class Now(StrEnum):
    """What is left of an earlier package's word on a segment when this package is made."""

    STANDS = "stands"
    WITHDRAWN = "withdrawn"
    SUPERSEDED = "superseded"


@dataclass(frozen=True, kw_only=True)
class SupersededSegment:
    """The engineer's word on a segment in an earlier package, and what is left of it now.

    An acceptance stands or was withdrawn, for `reason`; what was refused stands, or a package with the number
    `superseded_by` is the next one with the segment.
    """

    word: Word | None
    now: Now
    superseded_by: _Text = None
    reason: _Text = None


@dataclass(frozen=True, kw_only=True)
class SupersededPackage:
    """An earlier package with some of the same segments, its decision, and what stands of it segment by segment."""

    number: str
    decided_at: Annotated[_Time | None, _IF_KNOWN] = None
    is_deemed: bool
    reason: _Text = None
    segments: Mapping[str, SupersededSegment]


@dataclass(frozen=True, kw_only=True)
class FirstFacts:
    """What a package says of itself in its package.json, in every form of it: read, written and described by this.

    A member is left out of the file where it is as it is by default.
    """

    pages_form: int
    program: str
    number: str
    verification_code: str
    verification_url: _Text = None
    project_code: str
    project_name: str
    owner: str
    contractor: str
    responsible_person: str
    segments: Sequence[str]
    concessions: Sequence[Concession]
    submitted_at: _Time
    design_revision: int
    design_sha256: str
    criteria_version: int
    criteria_sha256: str
    verdict_digest: str
    audit: AuditHead
    seal: Seal
    is_demonstration: bool


@dataclass(frozen=True, kw_only=True)
class PackageFacts(FirstFacts):
    """What a package says of itself since the second form."""

    responsible_position: _Text = None
    design_agreed_at: Annotated[_Time | None, _IF_KNOWN] = None
    contractor_signature: SignedBy
    made_at: _Time
    supersedes: Sequence[SupersededPackage]

    @property
    def responsible(self) -> PrintedPerson:
        """Who is responsible at the contractor's, as it is printed."""
        return PrintedPerson(name=self.responsible_person, position=self.responsible_position)


@dataclass(frozen=True, kw_only=True)
class PackageContent(PackageFacts):
    """A submission with the design, criteria, verdict and records it stands on.

    `first_form` is what stands in the package.json of a package of the first form, which nobody makes any more.
    """

    design: Design
    criteria: Criteria
    verdict: VerdictDocument
    fibres: Sequence[FibreDocument]
    records: Sequence[PackagedRecord]
    first_form: Mapping[str, Any] | None = None

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
    def site_order(self) -> dict[str, int]:
        """The place of each site on the route, from A."""
        return {site.id: place for place, site in enumerate(self.design.sites)}

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
