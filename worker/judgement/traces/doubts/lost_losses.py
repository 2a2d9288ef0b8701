"""Which joints a trace leaves in doubt: a loss on no place may be theirs, built elsewhere or merged with another."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvents
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.echoes import is_lossless, reflects
from worker.judgement.traces.event_assignment import Assignment, assign, near_targets, nearest_targets
from worker.judgement.traces.noise import TraceNoise
from worker.judgement.traces.places import DeadZone, PlacesBetween
from worker.judgement.traces.spots import SPOT_STEP_M
from worker.judgement.traces.targets import Target

_STEP_UM = SPOT_STEP_M * 1_000_000


class Reaches(NamedTuple):
    """How far off a joint may lie that nothing locates, what a pulse may merge, how near events of one joint are."""

    off_spot_um: int
    merged: DeadZone
    same_um: int


class LaidTrace(NamedTuple):
    """A trace's events inside its span, as they were assigned to the targets there."""

    trace: Trace
    scale: DistanceScale
    noise: TraceNoise
    between: PlacesBetween
    targets: Sequence[Target]
    events: TraceEvents
    found: Assignment

    def sites_of(self, index: int) -> set[int]:
        """Return the sites, by index, that a target covers."""
        return {self.between.places[member].site_index for member in self.between.members[index]}

    def is_located(self, index: int) -> bool:
        """Tell whether the cable's fibres show where a target is."""
        return self.scale.shortfall is None and self.between.targets[index].within_um is not None


def find_doubted(shown: LaidTrace, reaches: Reaches) -> set[int]:
    """Return the targets, by index, that a loss on no place may belong to: their joint may be built there.

    Its loss then lies on no place, and the place seems to lose nothing, or what its neighbour loses: taken together, a
    bad splice would pass for a good one. Where the cable's fibres show a place, its loss is not far from there.
    """
    threshold_mdb, events = shown.trace.threshold_mdb, shown.events
    lossy = [index for index in shown.found.left_over if not is_lossless(events[index], threshold_mdb=threshold_mdb)]
    if not lossy:
        return set()
    return {
        *_without_their_loss(shown, lossy),
        *_merged(shown, lossy, merged_um=reaches.merged.beside_splice_um),
        *_shifted(shown, lossy, off_spot_um=reaches.off_spot_um),
        *_moved_together(shown, lossy, off_spot_um=reaches.off_spot_um),
    }


def _without_their_loss(shown: LaidTrace, lossy: Sequence[int]) -> Iterator[int]:
    """Give the targets without an event that are nearest to a loss on no place, or in reach where fibres show them."""
    trace, targets = shown.trace, shown.targets
    # Where no cord is, the trace begins or ends at the place itself.
    bare = {site for site, cord in zip(trace.ends, (trace.launch, trace.receive), strict=True) if cord is None}
    built = [index for index in range(len(targets)) if bare.isdisjoint(shown.sites_of(index))]
    own = [targets[index] for index in built]
    for at_um in [shown.events[loss].at_um for loss in lossy]:
        nearest = nearest_targets(own, at_um)
        for near in near_targets(own, at_um):
            index, is_in_reach = built[near], own[near].off_um(at_um) <= 2 * (own[near].within_um or 0)
            is_near = is_in_reach if shown.is_located(index) else near in nearest
            if is_near and not shown.found.events_of_target[index]:
                yield index


def _merged(shown: LaidTrace, lossy: Sequence[int], *, merged_um: int) -> Iterator[int]:
    """Give the targets without an event whose loss may be part of one on no place: a bend or an echo merged with it."""
    losses_um = [shown.events[loss].at_um for loss in lossy]
    for index, (target, own) in enumerate(zip(shown.targets, shown.found.events_of_target, strict=True)):
        first = bisect_left(losses_um, target.low_um - merged_um)
        if not own and first < len(losses_um) and losses_um[first] <= target.high_um + merged_um:
            yield index


def _shifted(shown: LaidTrace, lossy: Sequence[int], *, off_spot_um: int) -> Iterator[int]:
    """Give the targets that would have another event if joints lay off by more than the tolerance, and all had one."""
    found, ends = shown.found.events_of_target, set(shown.trace.ends)
    wide = [
        target
        if shown.is_located(index) or not ends.isdisjoint(shown.sites_of(index))
        else target.reaching(off_spot_um)
        for index, target in enumerate(shown.targets)
    ]
    told = sorted([*lossy, *(event for own in found for event in own)])
    other = assign(wide, [shown.events[event].at_um for event in told], most_pairs=True)
    for index, own in enumerate(other.events_of_target):
        if tuple([told[event] for event in own]) != found[index]:
            yield index


def _moved_together(shown: LaidTrace, lossy: Sequence[int], *, off_spot_um: int) -> Iterator[int]:
    """Give the targets that would read otherwise if all near each other lay as far off as one of them and a loss."""
    events_um, ends = shown.events.at_um, set(shown.trace.ends)
    free = [
        index
        for index in range(len(shown.targets))
        if not shown.is_located(index) and ends.isdisjoint(shown.sites_of(index))
    ]
    for near in _runs(shown.targets, free, gap_um=off_spot_um):
        low_um, high_um = shown.targets[near[0]].low_um - off_spot_um, shown.targets[near[-1]].high_um + off_spot_um
        for loss in lossy if len(near) > 1 else ():
            if low_um <= events_um[loss] <= high_um:
                yield from _by_one_move(shown, near, events_um[loss], off_spot_um=off_spot_um)


def _by_one_move(shown: LaidTrace, near: Sequence[int], loss_um: int, *, off_spot_um: int) -> Iterator[int]:
    events_um = shown.events.at_um
    for own in near:
        by_um = loss_um - shown.targets[own].low_um
        for other in near if abs(by_um) <= off_spot_um else ():
            target = shown.targets[other]
            reach_um = target.within_um or 0
            first = bisect_left(events_um, target.low_um + by_um - reach_um)
            behind = bisect_right(events_um, target.high_um + by_um + reach_um)
            if tuple(range(first, behind)) != shown.found.events_of_target[other]:
                yield other


def _runs(targets: Sequence[Target], indices: Sequence[int], *, gap_um: int) -> Iterator[list[int]]:
    """Give those of some targets in a row that each lie no farther from the next."""
    own: list[int] = []
    for index in indices:
        if own and (index > own[-1] + 1 or targets[index].low_um - targets[own[-1]].high_um > gap_um):
            yield own
            own = []
        own.append(index)
    if own:
        yield own


def find_shared(shown: LaidTrace, reaches: Reaches) -> Mapping[int, tuple[int, ...]]:
    """Return the events, by index, that may hold the loss of a target without one: those of neighbours, merged with it.

    Places that a pulse certainly merges are one target. It may merge others too where it is not certain how far apart
    they are. What merges lies behind a loss, or on either side of a reflection, or is merged with what does.
    """
    if all(shown.found.events_of_target):
        return {}
    doubts_um = _doubts_um(shown.between.targets.within_um, reaches.same_um)
    if shown.between.least_gap_um > max(reaches.merged) + 2 * max(doubts_um, default=0):
        return {}
    shared: dict[int, tuple[int, ...]] = {}
    for index, own in enumerate(shown.found.events_of_target):
        for step in (1, -1) if own else ():
            for other in _merged_from(shown, reaches.merged, doubts_um, index, step=step):
                shared[other] = (*shared.get(other, ()), *own)
    return shared


@lru_cache(maxsize=64)
def _doubts_um(within_um: tuple[int | None, ...], same_um: int) -> Sequence[int]:
    """Return how far off its spot a place may be: beyond a usual tray where fibres show it, else as coils differ."""
    return [2 * same_um if one is None else max(one - same_um, _STEP_UM) for one in within_um]


def _merged_from(
    shown: LaidTrace, merged: DeadZone, doubts_um: Sequence[int], index: int, *, step: int
) -> Iterator[int]:
    """Give the targets without an event that may be merged into a target's: the next ones, each with the one before."""
    targets, own = shown.targets, [shown.events[event] for event in shown.found.events_of_target[index]]
    is_pair = any(reflects(event) for event in own)
    if step < 0 and not is_pair:
        return
    reach_um = merged.beside_pair_um if is_pair and step > 0 else merged.beside_splice_um
    edge_um = max(step * targets[index].low_um, step * targets[index].high_um) + doubts_um[index]
    if shown.between.targets[index].within_um is None and len(own) == len(shown.between.members[index]):
        # The trace itself shows where it lies; behind a reflection a fibre's own coil may bring the next one nearer.
        edge_um = max(step * event.at_um for event in own) + (_STEP_UM if is_pair else 0)
    for other in range(index + step, len(targets) if step > 0 else -1, step):
        ends_um = step * targets[other].low_um, step * targets[other].high_um
        if shown.found.events_of_target[other] or min(ends_um) - doubts_um[other] - edge_um > reach_um:
            return
        yield other
        edge_um, reach_um = max(edge_um, max(ends_um) + doubts_um[other]), merged.beside_splice_um
