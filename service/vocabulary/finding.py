"""The form of what judging gives: findings, work and one canonical document per fibre.

Quantities are decimal strings with the places they were computed to; ids are record ids as text.
"""

from typing import NotRequired

from typing_extensions import TypedDict

FIBRE_FORM = "fibre.1"
VERDICT_FORM = "verdict.1"


class ReadingDocument(TypedDict):
    """What one record says about the subject of a finding; unseen readings lie within plus and minus `within_db`."""

    record: str
    direction: str
    value_db: NotRequired[str]
    within_db: NotRequired[str]
    distance_m: NotRequired[str]


class VoidDocument(TypedDict):
    """A record that does not count for a finding, and why."""

    record: str
    reason: str


class FindingDocument(TypedDict):
    """One value held against one criterion.

    A finding about a joint has `site` and `position`, one about a link `from_site` and `to_site`. A value known only
    within bounds has `low_db` and `high_db` instead of `value_db`.
    """

    criterion: str
    quantity: str
    force: str
    fibre: int
    segments: list[str]
    outcome: str
    detail: str
    reason: NotRequired[str]
    site: NotRequired[str]
    position: NotRequired[int]
    from_site: NotRequired[str]
    to_site: NotRequired[str]
    wavelength_nm: NotRequired[int]
    value_db: NotRequired[str]
    low_db: NotRequired[str]
    high_db: NotRequired[str]
    limit_db: NotRequired[str]
    margin_db: NotRequired[str]
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


class WorkDocument(TypedDict):
    """Something a crew has to do."""

    act: str
    site: str
    site_index: int
    fibre: int
    position: NotRequired[int]
    is_urgent: bool
    because: str
    criteria: list[str]
    towards_a: NotRequired[LocalFibreDocument]
    towards_b: NotRequired[LocalFibreDocument]
    records: list[str]


class UnexpectedEventDocument(TypedDict):
    """An event that lies on no joint."""

    record: str
    direction: str
    wavelength_nm: int
    from_a_m: str
    loss_db: NotRequired[str]


class FibreDocument(TypedDict):
    """Everything judged about one fibre."""

    form: str
    fibre: int
    findings: list[FindingDocument]
    work: list[WorkDocument]
    unexpected_events: list[UnexpectedEventDocument]


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

    `fibres` holds the digest of each fibre's document in order of fibre number; the verdict's own digest is the SHA-256
    of this document's canonical JSON.
    """

    form: str
    engine: str
    design_sha256: str
    criteria_sha256: str
    fibres: list[str]
    segments: dict[str, SegmentOutcome]
