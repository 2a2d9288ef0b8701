"""What an engineer may want to ask about: seen in the records, and deciding nothing by itself."""

from enum import StrEnum
from typing import NamedTuple

from typing_extensions import TypedDict


class SuspicionKind(StrEnum):
    """What was seen."""

    SAME_TRACE = "same_trace"
    SAME_READINGS = "same_readings"
    NEARLY_SAME_READINGS = "nearly_same_readings"
    SWAPPED_DIRECTIONS = "swapped_directions"
    REPEATED_LINK_LOSSES = "repeated_link_losses"
    TWO_FIBRES_AT_ONCE = "two_fibres_at_once"
    FASTER_THAN_AVERAGING = "faster_than_averaging"
    ESTIMATES_DRIFT = "estimates_drift"
    LABELLED_OTHERWISE = "labelled_otherwise"
    UNRECORDED_OPENING = "unrecorded_opening"
    TESTED_UNTIL_CONFORMING = "tested_until_conforming"


class Suspicion(NamedTuple):
    """What was seen, before it is written as a `SuspicionDocument`."""

    kind: SuspicionKind
    fibres: tuple[int, ...]
    records: tuple[str, ...]
    detail: str
    chance: str


class SuspicionDocument(TypedDict):
    """What was seen, on which fibres and in which records, and how unlikely it is in honest work.

    Where there are many fibres or records the first are named; `detail` says how many there are.
    """

    kind: str
    fibres: list[int]
    records: list[str]
    detail: str
    chance: str
