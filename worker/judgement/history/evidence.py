"""A stored record as judging gets it, and what all kinds of records are read by."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from worker.judgement.numbers.clocks import Stamp
from worker.judgement.numbers.exact import last_place

Body = Mapping[str, Any]
# Site indices of a test's near and far end.
Ends = tuple[int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class Evidence:
    """A stored record with what the service knows of it beside its content.

    `body` is the canonical record parsed from JSON: quantities are decimal strings with all their places, times are UTC
    text of one width, so that they compare as text. `is_annulled` says that it ended with the engineer's word,
    `is_of_other_route` that the fibres it names are another route's.
    """

    body: Mapping[str, Any]
    is_ended: bool
    clock_is_flagged: bool
    is_annulled: bool = False
    is_of_other_route: bool = False


def stamp_of(item: Evidence) -> Stamp:
    """Return when, by which clock, a record was made."""
    body = item.body
    return Stamp(body["made_at"], body["id"], body["device"], item.clock_is_flagged)


def read_measured(item: Evidence, ends: Ends, *, calibrated_until: str | None) -> dict[str, Any]:
    """Return the members that all measurements have in common."""
    body = item.body
    return {
        "stamp": stamp_of(item),
        "is_ended": item.is_ended,
        "calibration_has_run_out": calibrated_until is not None and calibrated_until < body["made_at"][:10],
        "fibre": body["fibre"],
        "is_forward": ends[0] < ends[1],
        "low_index": min(ends),
        "high_index": max(ends),
        "wavelength_nm": body.get("wavelength_nm"),
    }


def stated(body: Body, name: str) -> int | None:
    """Return a quantity as an integer of its last place, if the record states it."""
    text = body.get(name)
    return None if text is None else last_place(text)


def read_actual_dnm(body: Body) -> int:
    """Return a test's actual wavelength in 0.1 nm; the nominal one where it is not stated."""
    actual = stated(body, "actual_wavelength_nm")
    return 10 * int(body["wavelength_nm"]) if actual is None else actual
