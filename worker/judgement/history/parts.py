"""What a trace's events and sections add up to between two of its points, and whether its own total agrees."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import compress
from math import isqrt
from operator import mul, sub
from typing import Any, NamedTuple

from service.vocabulary.criteria.criteria import Consistency
from service.vocabulary.quantities import PDB_PER_MDB, UM_PER_KM
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent
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
    glass = _glass_between(trace, from_um, to_um, near_um)
    events = _events_between(trace, from_um, to_um, near_um)
    # Each is known to half of its last place: a hundredth where all thousandths are zero.
    step_mdb_per_km, unit_pdb = 10 if glass.is_coarse else 1, trace.outline.step_mdb * PDB_PER_MDB
    return Parts(
        glass_pdb=glass.loss_pdb,
        inside_pdb=events.inside_mdb * PDB_PER_MDB,
        first_pdb=events.first_mdb * PDB_PER_MDB,
        last_pdb=events.last_mdb * PDB_PER_MDB,
        listed=events.listed,
        is_glass_all=glass.is_all,
        are_events_all=events.are_all,
        rounding_pdb=step_mdb_per_km * glass.stated_um // 2 + unit_pdb * (events.listed + 1) // 2,
    )


class _Glass(NamedTuple):
    loss_pdb: int
    stated_um: int
    is_all: bool
    is_coarse: bool


class _Events(NamedTuple):
    inside_mdb: int
    first_mdb: int
    last_mdb: int
    listed: int
    are_all: bool


# Both add up columns, as a route has a million of these; one by one where something is not stated.


def _glass_between(trace: Trace, from_um: int, to_um: int, near_um: int) -> _Glass:
    """Return what the sections lose as the events behind them state it."""
    at_um, mdb_per_km = trace.events.at_um, trace.events.mdb_per_km
    end = min(trace.ends_shown, key=lambda event: event.at_um, default=None)
    if end is not None:
        at_um, mdb_per_km = [*at_um, end.at_um], [*mdb_per_km, end.mdb_per_km]
    if not at_um:
        return _Glass(0, 0, to_um <= near_um, True)
    first, behind = bisect_right(at_um, max(from_um, 0)), bisect_left(at_um, to_um) + 1
    stated: list[Any] = [*mdb_per_km[first:behind]]
    # Each section from its start, or the first point, to its event, or the last point.
    points_um = [max(from_um, 0), *at_um[first:behind]]
    points_um[-1] = min(points_um[-1], to_um)
    lengths_um = [*map(sub, points_um[1:], points_um)]
    if 0 in lengths_um:
        told = [length_um > 0 for length_um in lengths_um]
        stated, lengths_um = [*compress(stated, told)], [*compress(lengths_um, told)]
    is_all, stated_um = at_um[-1] >= to_um - near_um, sum(lengths_um)
    for index in [index for index, one in enumerate(stated) if one is None] if None in stated else ():
        # So short a piece loses nothing that matters, as between a cord's end as stated and its event.
        is_all = is_all and lengths_um[index] <= near_um
        stated_um -= lengths_um[index]
        stated[index] = 0
    return _Glass(sum(map(mul, stated, lengths_um)), stated_um, is_all, not any(one % 10 for one in stated))


def _events_between(trace: Trace, from_um: int, to_um: int, near_um: int) -> _Events:
    """Return what the events lose: at the first point, at the last, and between them."""
    events = trace.events
    listed = events.span(from_um - near_um, to_um + near_um)
    losses_mdb: Sequence[Any] = events.losses_mdb[listed]
    if not _are_all_stated(losses_mdb):
        return _events_one_by_one(trace, events[listed], from_um, to_um, near_um)
    events_um = events.at_um[listed]
    behind_first = bisect_right(events_um, from_um + near_um)
    last = max(bisect_left(events_um, to_um - near_um), behind_first)
    first_mdb, last_mdb = sum(losses_mdb[:behind_first]), sum(losses_mdb[last:])
    return _Events(sum(losses_mdb[behind_first:last]), first_mdb, last_mdb, len(events_um), True)


def _are_all_stated(losses_mdb: Sequence[int | None]) -> bool:
    """Tell whether each event states its loss, as nearly always: then only sums are needed."""
    return None not in losses_mdb


def _events_one_by_one(trace: Trace, events: Iterable[TraceEvent], from_um: int, to_um: int, near_um: int) -> _Events:
    inside = first = last = listed = 0
    are_all, before = True, None
    first_um, last_um = from_um + near_um, to_um - near_um
    for event in events:
        at_um, loss_mdb = event.at_um, event.loss_mdb
        listed += 1
        if loss_mdb is None:
            # At the instrument's port there is none; anywhere else it is not known, if no event before it holds it.
            is_held = before is not None and trace.is_merged(event, before)
            are_all = are_all and (is_held or at_um <= near_um)
            continue
        before = event
        if at_um <= first_um:
            first += loss_mdb
        elif at_um >= last_um:
            last += loss_mdb
        else:
            inside += loss_mdb
    return _Events(inside, first, last, listed, are_all)


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
