"""Where the design's fibre lies on a trace: behind the launch cord, and longer or shorter by its scale."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import median_low

from service.vocabulary.criteria.criteria import Placing
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import to_last_place, to_um
from service.vocabulary.records.words import EventKind
from worker.judgement.glass import Index
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent, TraceEvents
from worker.judgement.traces.places import PlacesBetween

# What instruments are set to for ordinary fibre lies within so much, from memory: 1.4625 to 1.4700.
_MOST_INDEX_PERCENT = 0.5
_REFLECTED = (EventKind.REFLECTIVE, EventKind.SATURATED)


@dataclass(frozen=True, kw_only=True, slots=True)
class DistanceScale:
    """A trace's events up to its end, and the design's span laid over them.

    The span begins `near_um` from A, and on the trace at `start_um`: behind the launch cord. What lies on the trace is
    in its own metres, which its `index` makes longer or shorter than those of the fibre.
    `length_um` is what the trace itself says of the span, if it says anything; `laid_um` what places are laid out by,
    which is certain to within `scale_percent` where nothing else says so. `has_end` tells whether the fibre's end is
    what the trace reaches to; `shortfall` says why the trace does not prove that it reaches the span's far end. A trace
    `shows_both_ends` where a reflection stands behind its launch cord and another before its receive cord;
    `length_fault` says why its metres still prove no length.
    """

    events: TraceEvents
    behind_end: tuple[TraceEvent, ...]
    near_um: int
    is_forward: bool
    start_um: int
    span_um: int
    length_um: int | None
    laid_um: int
    reach_um: int
    has_end: bool
    tolerance_um: int
    scale_percent: float
    index: Index
    shortfall: Reason | None
    shows_both_ends: bool = False
    length_fault: Reason | None = None

    @property
    def is_own(self) -> bool:
        """Tell whether places are laid out by what the trace itself says of the span."""
        return self.length_um == self.laid_um

    @property
    def end_um(self) -> int:
        """Where the span ends on the trace."""
        return self.start_um + self.laid_um

    @property
    def length_in_glass_um(self) -> int | None:
        """What the trace itself says of the span's length of fibre, its index taken out."""
        return None if self.length_um is None else self.index.in_glass_um(self.length_um)

    def on_trace_um(self, along_um: int) -> int:
        """Return where on the trace a spot of the design should be."""
        return self.start_um + (along_um * self.laid_um // self.span_um if self.span_um else 0)

    def along_um(self, on_trace_um: int) -> int:
        """Return where in the design a spot of the trace should be."""
        return (on_trace_um - self.start_um) * self.span_um // self.laid_um if self.laid_um else 0

    def all_on_trace_um(self, along_um: Sequence[int]) -> list[int]:
        """Return where on the trace spots of the design should be."""
        start_um, laid_um, span_um = self.start_um, self.laid_um, self.span_um
        return [start_um + along * laid_um // span_um for along in along_um] if span_um else [start_um] * len(along_um)

    def from_a_um(self, on_trace_um: int) -> int:
        """Return how far from A in the design a spot of the trace should be."""
        along_um = self.along_um(on_trace_um)
        return self.near_um + along_um if self.is_forward else self.near_um - along_um

    def all_from_a_um(self, on_trace_um: Sequence[int]) -> list[int]:
        """Return how far from A in the design spots of the trace should be."""
        near_um, start_um, span_um, laid_um = self.near_um, self.start_um, self.span_um, self.laid_um
        if not laid_um:
            return [near_um] * len(on_trace_um)
        if self.is_forward:
            return [near_um + (at_um - start_um) * span_um // laid_um for at_um in on_trace_um]
        return [near_um - (at_um - start_um) * span_um // laid_um for at_um in on_trace_um]

    def reaches(self, on_trace_um: int, *, joint_um: int | None) -> bool:
        """Tell whether the trace certainly runs over a spot; `joint_um` is the farthest joint that it shows."""
        return self.shortfall is None or on_trace_um + self.doubt_um(on_trace_um, joint_um=joint_um) < self.reach_um

    def ends_at(self, on_trace_um: int) -> bool:
        """Tell whether the fibre ends within tolerance of a spot, where it should not: nothing is measured there."""
        return self.shortfall is not None and self.has_end and on_trace_um >= self.reach_um - self.tolerance_um

    def doubt_um(self, on_trace_um: int, *, joint_um: int | None) -> int:
        """Return how far a spot may be from where the scale puts it: a joint tells a scale to within its tolerance."""
        along_um = on_trace_um - self.start_um
        doubt_um = share(along_um, self.scale_percent)
        if joint_um is not None and joint_um > self.start_um:
            doubt_um = min(doubt_um, self.tolerance_um * along_um // (joint_um - self.start_um))
        return max(self.tolerance_um, doubt_um)

    def events_near(self, at_um: int) -> TraceEvents:
        """Return the events within tolerance of a spot of the trace."""
        return self.events.between(at_um - self.tolerance_um, at_um + self.tolerance_um)

    def confirmed_by(self, back: Iterable["DistanceScale"], joints_um: Sequence[int]) -> "DistanceScale":
        """Return the scale, confirmed if its length is off the design's and a trace from the other end has it too.

        A break shortens a trace too, but hardly ever both ways to one length. Where both show the connections at both
        ends, behind cords, no break explains two lengths: an index that one of them does not state does. An index
        that is not what it is stated to be does too, if the joints lie as that length has them and not as the design
        has: then where events belong is as certain as ever, and only metres are not.
        """
        if self.shortfall is not Reason.LENGTHS_DISAGREE or not self.is_own:
            return self
        others = [one for one in back if one.is_own]
        if any(self._off_um(one) <= self.index.in_glass_um(self.tolerance_um) for one in others):
            return replace(self, shortfall=None)
        whole = [one for one in others if self.shows_both_ends and one.shows_both_ends]
        if any(None in {self.index.stated_e5, one.index.stated_e5} for one in whole):
            return replace(self, shortfall=None)
        most_um = share(self.span_um, _MOST_INDEX_PERCENT)
        if any(self._off_um(one) <= most_um for one in whole) and self._is_of_joints(joints_um):
            return replace(self, shortfall=None, length_fault=Reason.INDEX_UNLIKE)
        return self

    def _off_um(self, other: "DistanceScale") -> int:
        return abs(other.index.in_glass_um(other.laid_um) - self.index.in_glass_um(self.laid_um))

    def _is_of_joints(self, joints_um: Sequence[int]) -> bool:
        """Tell whether joints lie as the trace's own length has them rather than as the design's."""
        designed = replace(self, laid_um=self.index.on_trace_um(self.span_um))
        return _misfit_um(self, joints_um) < _misfit_um(designed, joints_um)


def measure(trace: Trace, between: PlacesBetween, placing: Placing, *, reference_index_e5: int) -> DistanceScale:
    """Lay the design's span between a trace's two ends on the trace; the reference is the index of the fibre there."""
    inside_um, index = between.inside_um, Index(trace.group_index_e5, reference_index_e5)
    end_um, last_um = trace.end_um, trace.events.at_um[-1] if trace.events else 0
    # Cords and tolerances too are lengths of fibre, laid over the trace in its own metres.
    span_um = index.on_trace_um(between.span_um)
    tolerance_um = max(index.on_trace_um(to_um(placing.tolerance_m)), share(span_um, placing.tolerance_percent))
    start_um = _start_um(trace, index, tolerance_um=tolerance_um)
    # Two faults look alike at first: an index that nobody states, or more fibre in the cable than designed, stretches
    # the whole trace, a break ends it early. Only the far end says which it is, so a length is taken for a scale where
    # that end is proven, and else where most joints have an event by it.
    length_um, shortfall = _length(trace, placing, index, start_um=start_um, span_um=span_um, tolerance_um=tolerance_um)
    laid_um = span_um if length_um is None else length_um
    shows_both_ends = length_um is not None and _shows_both_ends(trace, start_um, start_um + laid_um, tolerance_um)
    scale = DistanceScale(
        events=trace.events,
        behind_end=trace.behind_end,
        near_um=between.near_um,
        is_forward=trace.is_forward,
        start_um=start_um,
        span_um=between.span_um,
        length_um=length_um,
        laid_um=laid_um,
        reach_um=last_um if end_um is None else end_um,
        has_end=end_um is not None,
        tolerance_um=tolerance_um,
        scale_percent=placing.scale_percent,
        index=index,
        shortfall=shortfall,
        shows_both_ends=shows_both_ends,
    )
    if shows_both_ends or shortfall is None:
        return scale
    if length_um is None:
        return better_fit(scale, _scale_of_joints(scale, inside_um), inside_um)
    # A length that the events between contradict is no scale: the fibre is broken there, or a cord is not what it was.
    return better_fit(scale, span_um, inside_um)


def _start_um(trace: Trace, index: Index, *, tolerance_um: int) -> int:
    """Return where the span begins: behind its cord, by the connection there where no index tells the cord's metres."""
    if trace.launch is None:
        return 0
    cord_um = index.on_trace_um(trace.launch.length_um)
    if index.stated_e5 is not None:
        return cord_um
    near = trace.events.between(cord_um - tolerance_um, cord_um + tolerance_um)
    shown_um = [event.at_um for event in near if event.kind in _REFLECTED]
    return min(shown_um, key=lambda at_um: abs(at_um - cord_um), default=cord_um)


def _shows_both_ends(trace: Trace, start_um: int, end_um: int, tolerance_um: int) -> bool:
    if trace.launch is None or trace.receive is None:
        return False
    events = trace.events
    near = [events.kinds[events.span(one - tolerance_um, one + tolerance_um)] for one in (start_um, end_um)]
    return all(any(kind in _REFLECTED for kind in kinds) for kinds in near)


def better_fit(scale: DistanceScale, length_um: int, joints_um: Sequence[int]) -> DistanceScale:
    """Return the scale, laid out by another length of its span if more joints have an event then."""
    other = replace(scale, laid_um=length_um)
    return other if _fit(other, joints_um) > _fit(scale, joints_um) else scale


def share(length_um: int, percent: float) -> int:
    """Return so many percent of a length."""
    return length_um * _hundredths(percent) // 10_000


@lru_cache(maxsize=64)
def _hundredths(percent: float) -> int:
    return to_last_place(percent, places=2)


def _scale_of_joints(scale: DistanceScale, joints_um: Sequence[int]) -> int:
    """Return the span's length by the events that only one joint can have made, each of which tells a scale."""
    told: list[int] = []
    for event_um in scale.events.at_um:
        along_um = scale.index.in_glass_um(event_um - scale.start_um)
        reach_um = max(scale.tolerance_um, share(along_um, scale.scale_percent))
        index = bisect_left(joints_um, along_um - reach_um)
        near_um = joints_um[index : index + 2]
        if near_um and near_um[0] and near_um[0] <= along_um + reach_um < (*near_um, scale.span_um)[1]:
            told.append(along_um * scale.span_um // near_um[0])
    length_um = median_low(told) if told else scale.span_um
    is_scale = abs(length_um - scale.span_um) <= share(scale.span_um, scale.scale_percent)
    return scale.index.on_trace_um(length_um if is_scale else scale.span_um)


def _length(
    trace: Trace, placing: Placing, index: Index, *, start_um: int, span_um: int, tolerance_um: int
) -> tuple[int | None, Reason | None]:
    """Return the span's length by its far end, and what keeps that from being proven."""
    end_um = trace.end_um
    if end_um is None:
        return None, Reason.BEYOND_REACH
    far_um = end_um - (index.on_trace_um(trace.receive.length_um) if trace.receive else 0)
    longer_um = far_um - start_um - span_um
    bound_um = max(tolerance_um, share(span_um, placing.scale_percent))
    if abs(longer_um) > bound_um:
        # No scale explains that much: a longer trace is of another route, a shorter one stops short.
        return None, Reason.LENGTH_UNLIKE if longer_um > 0 else Reason.BEYOND_REACH
    if trace.receive is not None:
        # A cord that is named need not have been connected: only the connection before it shows that it was.
        near = trace.events.at_um[trace.events.span(far_um - tolerance_um, far_um + tolerance_um)]
        if not near:
            return None, Reason.PAIR_NOT_SEEN
        far_um = min(near, key=lambda at_um: abs(at_um - far_um))
    length_um = far_um - start_um
    return length_um, None if abs(length_um - span_um) <= tolerance_um else Reason.LENGTHS_DISAGREE


def _misfit_um(scale: DistanceScale, joints_um: Sequence[int]) -> int:
    """Return how far from joints the nearest events lie, all together; none is off by more than the tolerance."""
    total_um = 0
    for at_um in scale.all_on_trace_um(joints_um):
        own = scale.events.span(at_um - scale.tolerance_um, at_um + scale.tolerance_um)
        near = [abs(event_um - at_um) for event_um in scale.events.at_um[own]]
        total_um += min(near, default=scale.tolerance_um)
    return total_um


def _fit(scale: DistanceScale, joints_um: Sequence[int]) -> int:
    """Return how many joints have an event of their own where the scale puts them; both ascend."""
    fitting, index, events_um = 0, 0, scale.events.at_um
    for at_um in scale.all_on_trace_um(joints_um):
        index = bisect_left(events_um, at_um - scale.tolerance_um, lo=index)
        if index < len(events_um) and events_um[index] <= at_um + scale.tolerance_um:
            fitting += 1
            index += 1
    return fitting
