"""Which pairs of readings two mode fields can explain: what the fibre types allow, and what a splice then loses."""

from functools import lru_cache
from math import inf, log10
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Consistency
from service.vocabulary.design.layout import Layout
from worker.judgement.numbers.exact import TENTHS_PER_MDB, db_text, limit_mdb, mean_tenth_mdb, rounded_tenth_mdb
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import OneWayLoss
from worker.physics.splice import least_splice_loss_db

# [um] Least and greatest mode-field diameter by the beginning of a fibre type's name and wavelength, tolerances
# included. At 1310 nm ITU-T G.652.D and G.657.A: 8.6 to 9.2 within 0.4; G.653 and G.655 at 1550 nm: 7.8 to 8.5 within
# 0.8, and 8 to 11 within 0.7; all from memory. G.652.D and G.657.A at 1550 nm: 9.9 to 10.9, common practice, no source,
# and the same tolerance in proportion. Of any other type or wavelength nothing is known.
_DIAMETERS_UM = {
    ("G.652", 1310): (8.2, 9.6),
    ("G.657.A", 1310): (8.2, 9.6),
    ("G.652", 1550): (9.4, 11.4),
    ("G.657.A", 1550): (9.4, 11.4),
    ("G.653", 1550): (7.0, 9.3),
    ("G.655", 1550): (7.3, 11.7),
}


class Offsets(NamedTuple):
    """Between which offsets, from A to B, the mode fields of two fibre types lie; without end where one is unknown."""

    low_db: float
    high_db: float


@lru_cache(maxsize=256)
def offsets_between(towards_a: str, towards_b: str, wavelength_nm: int) -> Offsets:
    """Return the offsets that two fibre types allow: 10 log10 of the ratio of their mode-field diameters."""
    one, other = (_diameters_um(name, wavelength_nm) for name in (towards_a, towards_b))
    if one is None or other is None:
        return Offsets(-inf, inf)
    return Offsets(10 * log10(other[0] / one[1]), 10 * log10(other[1] / one[0]))


def contradiction(
    layout: Layout,
    consistency: Consistency,
    place: Place,
    wavelength_nm: int,
    *,
    forward: OneWayLoss,
    backward: OneWayLoss,
) -> str | None:
    """Return why no two mode fields explain what both directions read at a splice, if none do.

    Their half difference is that of the mode fields, and of how the glasses scatter. Of all offsets that this leaves
    to the mode fields the least costs least, and no splice loses less than that: Marcuse 1977, from memory.
    """
    ahead, back = forward.readings[0], backward.readings[0]
    scattering_mdb = limit_mdb(consistency.scattering_db)
    twice_mdb = ahead.high_mdb - back.high_mdb
    # What a direction does not show says nothing of the difference.
    if abs(twice_mdb) <= 2 * scattering_mdb or not (ahead.is_seen and back.is_seen):
        return None
    if place.is_group or place.zone or not place.is_closure:
        return None
    sections = layout.design.sections
    towards_a, towards_b = (sections[index].fibre_type for index in (place.site_index - 1, place.site_index))
    offset_db, allowed_db = twice_mdb / 2000, scattering_mdb / 1000
    by_types = offsets_between(towards_a, towards_b, wavelength_nm)
    low_db, high_db = max(offset_db - allowed_db, by_types.low_db), min(offset_db + allowed_db, by_types.high_db)
    if low_db > high_db:
        return f"{towards_a} and {towards_b} are not so unlike"
    least = rounded_tenth_mdb(float(least_splice_loss_db(offset_db=[max(low_db, min(high_db, 0.0))])[0]))
    mean = mean_tenth_mdb(first_mdb=ahead.high_mdb, second_mdb=back.high_mdb)
    if mean + limit_mdb(consistency.mean_db) * TENTHS_PER_MDB < least:
        return f"mode fields so unlike lose {db_text(least)} dB at least"
    return None


def _diameters_um(fibre_type: str, wavelength_nm: int) -> tuple[float, float] | None:
    known = (own for (name, nm), own in _DIAMETERS_UM.items() if nm == wavelength_nm and fibre_type.startswith(name))
    return next(known, None)
