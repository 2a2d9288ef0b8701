"""The form of what judging gives: findings, work and one canonical document per fibre.

Quantities are decimal strings with the places they were computed to, in the unit that the finding names; ids are record
ids as text.
"""

from enum import StrEnum
from typing import NamedTuple, NotRequired

from typing_extensions import TypedDict

from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.findings.words import Reason

FIBRE_FORM = "fibre.1"
VERDICT_FORM = "verdict.1"


class Direction(StrEnum):
    """Which way the light of a test goes."""

    A_TO_B = "a_to_b"
    B_TO_A = "b_to_a"


class RecordReading(NamedTuple):
    """What one record says about the subject of a finding, before it is written as a `ReadingDocument`.

    `value` and `within` count the last of so many decimal `places`.
    """

    record: str
    direction: Direction | None = None
    wavelength_nm: int | None = None
    value: int | None = None
    within: int | None = None
    places: int = 3
    distance_m: str | None = None


class VoidRecord(NamedTuple):
    """A record that does not count for a finding, and why, before it is written as a `VoidDocument`."""

    record: str
    reason: Reason


class ReadingDocument(TypedDict):
    """What one record says about the subject of a finding; unseen readings lie within plus and minus `within`.

    `wavelength_nm` is there where the readings of one finding differ in it.
    """

    record: str
    direction: NotRequired[str]
    wavelength_nm: NotRequired[int]
    value: NotRequired[str]
    within: NotRequired[str]
    distance_m: NotRequired[str]


class VoidDocument(TypedDict):
    """A record that does not count for a finding, and why."""

    record: str
    reason: str


class FindingDocument(TypedDict):
    """One value held against one criterion.

    A finding about a joint has `site` and `position`, one about a link or a span `from_site` and `to_site`, one about a
    section `section`. One about joints together names their `population` and how many they are, and has no `fibre`
    where they are of several fibres; its readings name the records and no value. A value known only within bounds has
    `low` and `high` instead of `value`. `margin` is how far the value is inside the limit, which is the most that is
    allowed, or the least where `limit_is` says so. Under a guarded rule `grade` says whether a decision stands beyond
    the guard band. `by_fallback` tells of a joint that keeps only the wider limit that documented attempts allow.
    """

    criterion: str
    quantity: str
    force: str
    fibre: NotRequired[int]
    segments: list[str]
    outcome: str
    grade: NotRequired[str]
    by_fallback: NotRequired[bool]
    detail: str
    reason: NotRequired[str]
    site: NotRequired[str]
    position: NotRequired[int]
    side: NotRequired[str]
    section: NotRequired[str]
    from_site: NotRequired[str]
    to_site: NotRequired[str]
    population: NotRequired[str]
    count: NotRequired[int]
    wavelength_nm: NotRequired[int]
    unit: NotRequired[str]
    value: NotRequired[str]
    low: NotRequired[str]
    high: NotRequired[str]
    limit: NotRequired[str]
    limit_is: NotRequired[str]
    margin: NotRequired[str]
    uncertainty: NotRequired[str]
    readings: list[ReadingDocument]
    void: list[VoidDocument]


class LocalFibreDocument(TypedDict):
    """What a crew sees of a route fibre on one side of a site."""

    section: str
    cable_fibre: int
    tube: int
    tube_colour: str
    fibre_in_tube: int
    fibre_colour: str


class CauseDocument(TypedDict):
    """Why something has to be done; `value` belongs where the clause has `{}`."""

    clause: str
    value: NotRequired[str]
    criteria: list[str]
    records: list[str]


class AskedTestDocument(TypedDict):
    """A test to be made at some wavelengths, from which of the route's ends; continuity has no wavelength."""

    test: str
    wavelengths_nm: list[int]
    from_sites: list[str]


class WorkDocument(TypedDict):
    """Something a crew has to do at a site, or at several in the same way; its fibre is the document's.

    One that is not `is_ready` waits for other work on the list, one that `opens` is under a lid that is shut. Only
    what several fibres tell together names its `fibre`.
    """

    act: str
    sites: list[str]
    fibre: NotRequired[int]
    position: NotRequired[int]
    is_urgent: bool
    is_ready: bool
    opens: bool
    tests: NotRequired[list[AskedTestDocument]]
    causes: list[CauseDocument]


class WhereDocument(TypedDict):
    """A spot of the fibre, by its fibre distance from A.

    On the route `section` is the one it lies in, and `cable_m` the cable from that section's start, slack counted in.
    """

    from_a_m: str
    section: NotRequired[str]
    cable_m: NotRequired[str]


class OfTraceDocument(TypedDict):
    """The trace that something is seen on."""

    record: str
    direction: str
    wavelength_nm: int


class UnexpectedEventDocument(WhereDocument, OfTraceDocument):
    """An event that lies on no joint."""

    loss_db: NotRequired[str]


class EchoDocument(WhereDocument, OfTraceDocument):
    """A reflection without a loss that is the echo of stronger ones; it is not judged.

    `met_m` are the distances from the instrument's port of the reflections that its light met, in that order: the
    first, less the second, plus the third and so on is about the echo's own `distance_m`.
    """

    distance_m: str
    met_m: list[str]


class BreakDocument(WhereDocument):
    """A break: traces from both ends stop there."""

    records: list[str]


class ShortTraceDocument(WhereDocument, OfTraceDocument):
    """How far a trace reaches that stops before the far end, where no trace from the other end stops too."""


class FibreRangeDocument(TypedDict):
    """Neighbouring fibre numbers, both ends included."""

    first: int
    last: int


class UnlikeTraceDocument(OfTraceDocument):
    """A trace that fits the route from its other end better, or the splice plan of other `fibres`."""

    reason: str
    fibres: NotRequired[list[FibreRangeDocument]]


class TracesDocument(TypedDict, total=False):
    """What the traces tell beside the findings, as far as there is any of it."""

    echoes: list[EchoDocument]
    breaks: list[BreakDocument]
    short_traces: list[ShortTraceDocument]
    unlike_traces: list[UnlikeTraceDocument]


class FibreDocument(TracesDocument):
    """Everything judged about one fibre; a fibre that could not be judged has nothing but its `problem`.

    It `is_dark` where every test of its continuity that counts saw no light.
    """

    form: str
    fibre: int
    findings: list[FindingDocument]
    work: list[WorkDocument]
    unexpected_events: list[UnexpectedEventDocument]
    problem: NotRequired[str]
    is_dark: NotRequired[bool]


class SpotsDocument(TypedDict):
    """Where the sites of some fibres lie by what these fibres show together, as columns with a row for each site.

    `from_a_m` are metres of the design's fibre from A; an event of a site lies no more than `within_m` from there.
    `seen_on` so many of the fibres show it, none where what other tubes show stands in. A site that is not named
    lies where the design has it, moved as its neighbours are.
    """

    fibres: list[FibreRangeDocument]
    sites: list[str]
    from_a_m: list[int]
    within_m: list[int]
    seen_on: list[int]


class OutcomeCounts(TypedDict):
    """How many required findings came out each way."""

    conforming: int
    nonconforming: int
    undetermined: int


class SegmentOutcome(TypedDict):
    """What the required findings of a segment come to."""

    outcome: str
    counts: OutcomeCounts


class VerdictDocument(TypedDict):
    """What a route comes to, for one design revision, criteria version and record set.

    `spots` are where the fibres' joints were looked for, `fibres` holds the digest of each fibre's document in
    order of fibre number, `findings` those about several fibres together; the verdict's own digest is the SHA-256
    of this document's canonical JSON. `work` is what is to be done that only several fibres together tell.
    `tolerated_dark` are the dark fibres that the criteria tolerate: nothing
    found of them counts.
    """

    form: str
    engine: str
    design_sha256: str
    criteria_sha256: str
    spots: NotRequired[list[SpotsDocument]]
    fibres: list[str]
    work: NotRequired[list[WorkDocument]]
    tolerated_dark: NotRequired[list[int]]
    findings: list[FindingDocument]
    suspicions: list[SuspicionDocument]
    segments: dict[str, SegmentOutcome]
