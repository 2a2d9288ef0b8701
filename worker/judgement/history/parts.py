"""What a trace's events and sections add up to between two of its points, and whether its own total agrees."""

from math import isqrt
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Consistency
from service.vocabulary.quantities import PDB_PER_MDB, UM_PER_KM
from worker.judgement.history.acts import Trace, TraceEvent
from worker.judgement.numbers.exact import limit_mdb

# By how much the attenuation of two sections of one fibre may differ, common practice, no source.
_APART_MDB_PER_KM = 10


class Parts(NamedTuple):
    """What lies between two points, in 1e-12 dB: the glass, the events inside, those at the first and the last point.

    `is_glass_all` where every section there states its attenuation, `are_events_all` where every event does its loss;
    those that do not lose something nobody knows. `rounding_pdb` is how far they may be off by the last places that
    they are written with.
    """

    glass_pdb: int
    inside_pdb: int
    first_pdb: int
    last_pdb: int
    listed: int
    is_glass_all: bool
    are_events_all: bool
    rounding_pdb: int

    @property
    def are_all(self) -> bool:
        """Tell whether nothing is unknown."""
        return self.is_glass_all and self.are_events_all

    @property
    def events_pdb(self) -> int:
        """All events together."""
        return self.inside_pdb + self.first_pdb + self.last_pdb


def parts_between(trace: Trace, *, from_um: int, to_um: int, near_um: int) -> Parts:
    """Return the parts of a trace between two points; an event within `near_um` of a point is at it."""
    glass, inside, first, last = 0, 0, 0, 0
    listed, stated_um, behind_um = 0, 0, 0
    is_glass_all, are_events_all, is_coarse = True, True, True
    before: TraceEvent | None = None
    end = min(trace.ends_shown, key=lambda event: event.at_um, default=None)
    for event in (*trace.events, *(() if end is None else (end,))):
        low_um, high_um = max(behind_um, from_um), min(event.at_um, to_um)
        behind_um = event.at_um
        if high_um > low_um:
            if event.mdb_per_km is None:
                # So short a piece loses nothing that matters, as between a cord's end as stated and its event.
                is_glass_all = is_glass_all and high_um - low_um <= near_um
            else:
                glass += event.mdb_per_km * (high_um - low_um)
                stated_um += high_um - low_um
                is_coarse = is_coarse and event.mdb_per_km % 10 == 0
        if event is end or not from_um - near_um <= event.at_um <= to_um + near_um:
            continue
        listed += 1
        if event.loss_mdb is None:
            # At the instrument's port there is none; anywhere else it is not known, if no event before it holds it.
            is_held = before is not None and trace.is_merged(event, before)
            are_events_all = are_events_all and (is_held or event.at_um <= near_um)
        elif event.at_um <= from_um + near_um:
            first += event.loss_mdb
        elif event.at_um >= to_um - near_um:
            last += event.loss_mdb
        else:
            inside += event.loss_mdb
        before = event if event.loss_mdb is not None else before
    is_glass_all = is_glass_all and behind_um >= to_um - near_um
    # Each is known to half of its last place: a hundredth where all thousandths are zero.
    rounding = (10 if is_coarse else 1) * stated_um // 2 + trace.outline.step_mdb * (listed + 1) * PDB_PER_MDB // 2
    return Parts(
        glass_pdb=glass,
        inside_pdb=inside * PDB_PER_MDB,
        first_pdb=first * PDB_PER_MDB,
        last_pdb=last * PDB_PER_MDB,
        listed=listed,
        is_glass_all=is_glass_all,
        are_events_all=are_events_all,
        rounding_pdb=rounding,
    )


def contradicts_total(trace: Trace, *, joints: int, near_um: int, consistency: Consistency) -> bool:
    """Tell whether a trace's total is not what its own events and sections add up to.

    Whether the events at its two points are counted in differs between instruments, so either may be. Each of the
    `joints` between its ends that is not listed may lose twice the threshold, either way, and leaves it open whether
    the attenuation stated behind it is that of both sections; these go together by the root of the sum of their
    squares (JCGM 100:2008, 5.1.2, equation 10). Where not all parts are stated these are at least not more than the
    total.
    """
    total = trace.total_loss
    if total is None or total.to_um - total.from_um <= 2 * near_um:
        return False
    parts = parts_between(trace, from_um=total.from_um, to_um=total.to_um, near_um=near_um)
    unlisted = max(joints - parts.listed, 0)
    section_um = (total.to_um - total.from_um) // max(joints - 1, 1)
    apart_mdb = 2 * _APART_MDB_PER_KM * section_um // UM_PER_KM
    unlisted_mdb = isqrt(unlisted * (4 * trace.threshold_mdb**2 + apart_mdb**2))
    allowed_pdb = (limit_mdb(consistency.total_db) + unlisted_mdb) * PDB_PER_MDB + parts.rounding_pdb
    over_pdb = total.loss_mdb * PDB_PER_MDB - parts.glass_pdb - parts.inside_pdb
    over = [over_pdb - first - last for first in {0, parts.first_pdb} for last in {0, parts.last_pdb}]
    if parts.are_all:
        return all(abs(one) > allowed_pdb for one in over)
    return all(one < -allowed_pdb for one in over)
