"""What was seen of end faces, as values: sizes in 0.1 um."""

from collections.abc import Mapping
from typing import NamedTuple

from service.vocabulary.records.words import Polish, Side, Zone
from worker.judgement.numbers.clocks import Stamp


class Mark(NamedTuple):
    """How many scratches of a width, or defects of a diameter, were counted."""

    size_tenth_um: int
    seen: int


class ZoneMarks(NamedTuple):
    """What was counted in one zone of an end face."""

    scratches: tuple[Mark, ...]
    defects: tuple[Mark, ...]


class InspectionAct(NamedTuple):
    """One side of a connection inspected, by an edition of the standard.

    What was counted by zone, and whether the instrument passed it by its image, as far as either is stated.
    """

    stamp: Stamp
    fibre: int
    site: str
    position: int | None
    side: Side
    edition: int
    polish: Polish
    zones: Mapping[Zone, ZoneMarks]
    instrument_passed: bool | None
    image_sha256: str | None
