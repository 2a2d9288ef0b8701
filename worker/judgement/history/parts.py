"""What a trace's events and sections add up to between two of its points, and whether its own total agrees."""

from math import isqrt
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Consistency
from service.vocabulary.quantities import PDB_PER_MDB
from worker.judgement.history.acts import Trace, TraceEvent
from worker.judgement.numbers.exact import limit_mdb


class Parts(NamedTuple):
    """What lies between two points, in 1e-12 dB: the glass, the events inside, those at the first and the last point.

    They `are_all` where every section there states its attenuation and every event its loss; the sections that do not
    lose something nobody knows. `rounding` is how far they may be off by the last places that they are written with.
    """

    glass_pdb: int
    inside_pdb: int
    first_pdb: int
    last_pdb: int
    listed: int
    are_all: bool
    rounding_pdb: int

    @property
    def whole_pdb(self) -> int:
        """All of them together."""
        return self.glass_pdb + self.inside_pdb + self.first_pdb + self.last_pdb


def parts_between(trace: Trace, *, from_um: int, to_um: int, near_um: int) -> Parts:
    """Return the parts of a trace between two points; an event within `near_um` of a point is at it."""
    glass, inside, first, last = 0, 0, 0, 0
    listed, stated_um, behind_um = 0, 0, 0
    are_all, is_coarse = True, True
    before: TraceEvent | None = None
    end = min(trace.ends_shown, key=lambda event: event.at_um, default=None)
    for event in (*trace.events, *(() if end is None else (end,))):
        low_um, high_um = max(behind_um, from_um), min(event.at_um, to_um)
        behind_um = event.at_um
        if high_um > low_um:
            if event.mdb_per_km is None:
                # So short a piece loses nothing that matters, as between a cord's end as stated and its event.
                are_all = are_all and high_um - low_um <= near_um
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
            are_all = are_all and (is_held or event.at_um <= near_um)
        elif event.at_um <= from_um + near_um:
            first += event.loss_mdb
        elif event.at_um >= to_um - near_um:
            last += event.loss_mdb
        else:
            inside += event.loss_mdb
        before = event if event.loss_mdb is not None else before
    are_all = are_all and behind_um >= to_um - near_um
    # Each is known to half of its last place: a hundredth where all thousandths are zero.
    rounding = (10 if is_coarse else 1) * stated_um // 2 + trace.outline.step_mdb * (listed + 1) * PDB_PER_MDB // 2
    return Parts(
        glass_pdb=glass,
        inside_pdb=inside * PDB_PER_MDB,
        first_pdb=first * PDB_PER_MDB,
        last_pdb=last * PDB_PER_MDB,
        listed=listed,
        are_all=are_all,
        rounding_pdb=rounding,
    )


def contradicts_total(trace: Trace, *, joints: int, near_um: int, consistency: Consistency) -> bool:
    """Tell whether a trace's total is not what its own events and sections add up to.

    Whether the events at its two points are counted in differs between instruments, so either may be. Of the `joints`
    between its ends those that are not listed lose no more than the threshold each, either way, and twice that times
    the square root of their number in all but rare cases. Where not all parts are stated these are at least not more
    than the total.
    """
    total = trace.total_loss
    if total is None or total.to_um - total.from_um <= 2 * near_um:
        return False
    parts = parts_between(trace, from_um=total.from_um, to_um=total.to_um, near_um=near_um)
    unlisted = max(joints - parts.listed, 0)
    unseen_mdb = min(unlisted * trace.threshold_mdb, isqrt(4 * unlisted * trace.threshold_mdb**2))
    allowed_pdb = (limit_mdb(consistency.total_db) + unseen_mdb) * PDB_PER_MDB + parts.rounding_pdb
    over_pdb = total.loss_mdb * PDB_PER_MDB - parts.glass_pdb - parts.inside_pdb
    over = [over_pdb - first - last for first in {0, parts.first_pdb} for last in {0, parts.last_pdb}]
    if parts.are_all:
        return all(abs(one) > allowed_pdb for one in over)
    return all(one < -allowed_pdb for one in over)
