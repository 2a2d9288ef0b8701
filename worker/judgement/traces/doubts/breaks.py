"""Where a fibre is broken: traces from both ends stop at one spot, and how far traces reach that stop alone."""

from collections.abc import Iterator, Sequence
from statistics import median_low
from typing import NamedTuple

from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.traces.distance_scale import DistanceScale

_SHORT = {Reason.BEYOND_REACH, Reason.LENGTHS_DISAGREE, Reason.PAIR_NOT_SEEN}


class ShortTrace(NamedTuple):
    """A trace whose fibre ends before the span does, and where by this trace alone, give or take `within_um`."""

    trace: Trace
    scale: DistanceScale
    from_a_um: int
    within_um: int

    @property
    def reached_um(self) -> int:
        """How much fibre the trace shows, its index taken out."""
        return self.scale.index.in_glass_um(self.scale.reach_um - self.scale.start_um)


class Break(NamedTuple):
    """A spot at which traces from both ends stop."""

    from_a_um: int
    records: tuple[str, ...]


class Breaks(NamedTuple):
    """The breaks of a fibre in order from A, and the traces that stop short of what no other trace confirms."""

    found: tuple[Break, ...]
    alone: tuple[ShortTrace, ...]


_Meeting = tuple[int, ShortTrace, ShortTrace]


def is_short(scale: DistanceScale) -> bool:
    """Tell whether a trace shows the fibre's end, and shows it before the span's."""
    if scale.shortfall not in _SHORT or not scale.has_end:
        return False
    # A length off the design's may be another scale, or a break near the far end. Until a trace from the other end
    # confirms it, it is taken for a break: what was reached is then counted in metres of the trace, by its index alone.
    is_own_scale = scale.shortfall is not Reason.LENGTHS_DISAGREE
    plain_um = scale.index.in_glass_um(scale.reach_um - scale.start_um)
    reached_um = scale.along_um(scale.reach_um) if is_own_scale else plain_um
    return 0 <= reached_um < scale.span_um - scale.tolerance_um


def find_breaks(short: Sequence[ShortTrace], *, offsets_um: Sequence[int]) -> Breaks:
    """Return where traces of one span from both ends stop, their two lengths adding up to about that of the span."""
    # One end alone proves no break: a pulse too weak for the route, or a cord not connected, stops a trace too. What
    # traces from both ends that stop at one spot have in common is the fibre there.
    forward, backward = ([one for one in short if one.trace.is_forward is is_forward] for is_forward in (True, False))
    meeting = [
        (_meeting_um(one, other, offsets_um=offsets_um), one, other)
        for one in forward
        for other in backward
        if _meet(one, other)
    ]
    found: list[Break] = []
    for own in _spots(sorted(meeting, key=lambda item: item[0])):
        records = {one.trace.stamp.id for _, *both in own for one in both}
        found.append(Break(median_low(at_um for at_um, _, _ in own), tuple(sorted(records))))
    broken = {record for one in found for record in one.records}
    return Breaks(tuple(found), tuple(one for one in short if one.trace.stamp.id not in broken))


def _meet(one: ShortTrace, other: ShortTrace) -> bool:
    is_one_span = one.trace.span == other.trace.span
    return is_one_span and abs(one.from_a_um - other.from_a_um) <= one.within_um + other.within_um


def _meeting_um(one: ShortTrace, other: ShortTrace, *, offsets_um: Sequence[int]) -> int:
    # Both group indices may be set wrong alike. The share that each trace has of their common length does not depend on
    # that, so the break is placed by shares of the design's span.
    whole_um = max(one.reached_um + other.reached_um, 1)
    return offsets_um[one.trace.low_index] + one.reached_um * one.scale.span_um // whole_um


def _spots(meeting: Sequence[_Meeting]) -> Iterator[list[_Meeting]]:
    own: list[_Meeting] = []
    for item in meeting:
        if own and item[0] - own[0][0] > item[1].scale.tolerance_um:
            yield own
            own = []
        own.append(item)
    if own:
        yield own
