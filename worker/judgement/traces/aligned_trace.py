"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches."""

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from itertools import groupby
from typing import NamedTuple

from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace, TraceEvent
from worker.judgement.traces.crossed import Unlike
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.echoes import Echo, is_lossless
from worker.judgement.traces.event_assignment import Assignment, assign, nearest_to, within
from worker.judgement.traces.joint_location import Spot
from worker.judgement.traces.places import Place, PlacesBetween


class Reading(NamedTuple):
    """The loss that one trace shows at a place, by its `events`; without one it is not above the trace's threshold."""

    trace: Trace
    low_mdb: int
    high_mdb: int
    events: tuple[TraceEvent, ...] = ()

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there."""
        return bool(self.events)

    def agrees_with(self, other: "Reading") -> bool:
        """Tell whether two readings of one place can both be right.

        A threshold is set where noise makes no more events, so no reading is off by more than its own, common practice.
        """
        apart_mdb = max(self.low_mdb - other.high_mdb, other.low_mdb - self.high_mdb)
        return apart_mdb <= self.trace.threshold_mdb + other.trace.threshold_mdb


@dataclass(frozen=True, kw_only=True, slots=True)
class AlignedTrace:
    """What one trace shows by site index, or why nothing; its events on no place; why it does not prove the far end.

    `is_clean` tells whether there is nothing about it that other traces could make clearer.
    """

    trace: Trace
    scale: DistanceScale
    readings: Mapping[int, Reading | Reason]
    unexpected: tuple[TraceEvent, ...]
    shortfall: Reason | None
    is_clean: bool
    echoes: tuple[Echo, ...] = ()
    unlike: Unlike | None = None

    def sites_seen(self) -> set[int]:
        """Return the sites at which the trace has an event."""
        return {site for site, shown in self.readings.items() if isinstance(shown, Reading) and shown.is_seen}

    def proving_nothing(self, reason: Reason) -> "AlignedTrace":
        """Return it as a trace that for some reason says nothing of any place."""
        return replace(self, readings=dict.fromkeys(self.readings, reason), shortfall=reason)

    def without(self, sites: Iterable[int], reason: Reason) -> "AlignedTrace":
        """Return it as a trace whose readings at some sites prove nothing, for a reason."""
        read = [site for site in sites if isinstance(self.readings.get(site), Reading)]
        return replace(self, readings={**self.readings, **dict.fromkeys(read, reason)}) if read else self


class _Expected(NamedTuple):
    """Places in the order in which a trace's light meets them, where it should show them, and its events over them."""

    places: Sequence[Place]
    places_um: Sequence[int]
    events: Sequence[TraceEvent]

    def part(self, own: Sequence[int], events: Sequence[TraceEvent]) -> "_Expected":
        """Return some of the places, by index, with events of their own."""
        return _Expected([self.places[index] for index in own], [self.places_um[index] for index in own], events)


def align_trace(
    trace: Trace, *, between: PlacesBetween, located: Mapping[int, Spot], scale: DistanceScale
) -> AlignedTrace:
    """Lay a trace over the places between its two ends: where the design has them, or where they were `located`."""
    if scale.shortfall is Reason.LENGTH_UNLIKE:
        nothing = dict.fromkeys((place.site_index for place in between.places), scale.shortfall)
        return AlignedTrace(
            trace=trace, scale=scale, readings=nothing, unexpected=(), shortfall=scale.shortfall, is_clean=True
        )
    first_um, last_um = scale.start_um - scale.tolerance_um, scale.end_um + scale.tolerance_um
    own = [event for event in scale.events if first_um <= event.at_um <= last_um]
    whole = _Expected(between.places, scale.all_on_trace_um(between.along_um(located)), own)
    zones = list(_zones(whole, scale)) if between.has_zones else []
    expected = _outside_zones(whole, zones) if zones else whole
    found = assign(
        expected.places_um,
        [event.at_um for event in expected.events],
        is_group=[place.is_group for place in expected.places] if zones else between.is_group,
        tolerance_um=scale.tolerance_um,
    )
    left_over = [expected.events[index] for index in found.left_over]
    # With more events on nothing than on joints the trace does not fit the design, as after a cord's length was
    # mistyped; what it does not show then proves nothing.
    is_misfit = len(left_over) > len(expected.events) - len(left_over) + sum(len(zone.events) for zone in zones)
    in_doubt = found.contested | _missed(trace, expected, found, left_over) if left_over else found.contested
    joint_um = max([expected.events[own[-1]].at_um for own in found.events_of_place if own], default=None)
    readings = _read_places(trace, scale, expected, found, joint_um=joint_um, in_doubt=in_doubt, is_misfit=is_misfit)
    for zone in zones:
        shown = _read_zone(trace, scale, zone, joint_um=joint_um, beside=expected, is_misfit=is_misfit)
        readings |= dict.fromkeys((place.site_index for place in zone.places), shown)
    return AlignedTrace(
        trace=trace,
        scale=scale,
        readings=readings,
        unexpected=(*left_over, *_in_cords(scale, first_um=first_um, last_um=last_um), *scale.behind_end),
        shortfall=scale.shortfall or (Reason.AMBIGUOUS_EVENT if is_misfit else None),
        is_clean=not left_over and not in_doubt,
    )


def _read_places(
    trace: Trace,
    scale: DistanceScale,
    expected: _Expected,
    found: Assignment,
    *,
    joint_um: int | None,
    in_doubt: Set[int],
    is_misfit: bool,
) -> dict[int, Reading | Reason]:
    """Return what a trace shows of each place outside dead zones; `joint_um` is the farthest joint that it shows."""
    unseen, proves_far_end = _unseen(trace), scale.shortfall is None
    readings: dict[int, Reading | Reason] = {}
    for index, (place, seen) in enumerate(zip(expected.places, found.events_of_place, strict=True)):
        # What contradicts itself comes first: an event that may be another joint's proves neither of them.
        if index in in_doubt or (is_misfit and not seen):
            readings[place.site_index] = Reason.AMBIGUOUS_EVENT
        elif seen and (proves_far_end or not scale.ends_at(expected.events[seen[0]].at_um)):
            readings[place.site_index] = _read(trace, tuple(map(expected.events.__getitem__, seen)))
        elif seen or not scale.reaches(expected.places_um[index], joint_um=joint_um):
            readings[place.site_index] = scale.shortfall or Reason.BEYOND_REACH
        else:
            # Two polished ends always show themselves; where they do not, they are somewhere else.
            readings[place.site_index] = unseen if place.pair is None else Reason.PAIR_NOT_SEEN
    return readings


def _zones(expected: _Expected, scale: DistanceScale) -> Iterator[_Expected]:
    """Give the places of each dead zone with all events between its first and its last place."""
    for _, indices in groupby(range(len(expected.places)), key=lambda index: expected.places[index].zone or index):
        own = list(indices)
        if expected.places[own[0]].zone:
            low_um = expected.places_um[own[0]] - scale.tolerance_um
            high_um = expected.places_um[own[-1]] + scale.tolerance_um
            yield expected.part(own, [event for event in expected.events if low_um <= event.at_um <= high_um])


def _outside_zones(expected: _Expected, zones: Sequence[_Expected]) -> _Expected:
    taken = {event.number for zone in zones for event in zone.events}
    free = [index for index, place in enumerate(expected.places) if not place.zone]
    return expected.part(free, [event for event in expected.events if event.number not in taken])


def _read_zone(
    trace: Trace, scale: DistanceScale, zone: _Expected, *, joint_um: int | None, beside: _Expected, is_misfit: bool
) -> Reading | Reason:
    """Return what a trace shows of a dead zone as a whole; `beside` are the places in none."""
    sites = {place.site_index for place in zone.places}
    is_whole = sites == set(zone.places[0].zone)
    if not is_whole or any(place.site_index in trace.ends and not place.is_end for place in zone.places):
        return Reason.GROUP_ONLY
    if not scale.reaches(zone.places_um[-1], joint_um=joint_um):
        return scale.shortfall or Reason.BEYOND_REACH
    # An event in the zone that may as well be the joint's beside it says nothing certain of either.
    if is_misfit or any(within(beside.places_um, event.at_um, scale.tolerance_um, key=int) for event in zone.events):
        return Reason.AMBIGUOUS_EVENT
    has_pair = zone.places[0].zone_has_pair
    if not zone.events:
        return Reason.PAIR_NOT_SEEN if has_pair else _unseen(trace)
    reading = _read(trace, zone.events)
    if has_pair or isinstance(reading, Reason):
        return reading
    # No criterion is about splices together: of each alone no more is known than that it has no more than all of them.
    return reading._replace(low_mdb=min(reading.low_mdb, 0))


def _missed(trace: Trace, expected: _Expected, found: Assignment, left_over: Sequence[TraceEvent]) -> set[int]:
    """Return the places without an event to which a loss on no place is nearest: their joint may be built there."""
    # A joint may be built away from its design. Its loss then lies on no place, and the place seems to lose nothing:
    # taken together, a bad splice would pass for an unseen, good one.
    # Where no cord is, the trace begins or ends at the place itself.
    bare = {site for site, cord in zip(trace.ends, (trace.launch, trace.receive), strict=True) if cord is None}
    built = [index for index, place in enumerate(expected.places) if place.site_index not in bare]
    built_um = [expected.places_um[index] for index in built]
    lossy = [event for event in left_over if not is_lossless(event, threshold_mdb=trace.threshold_mdb)]
    nearest = {built[index] for event in lossy for index in nearest_to(built_um, event.at_um)}
    return {index for index in nearest if not found.events_of_place[index]}


def _unseen(trace: Trace) -> Reading:
    return Reading(trace, -trace.threshold_mdb, trace.threshold_mdb)


def _read(trace: Trace, events: Sequence[TraceEvent]) -> Reading | Reason:
    total_mdb = 0
    for event in events:
        if event.loss_mdb is None:
            return Reason.LOSS_NOT_STATED
        total_mdb += event.loss_mdb
    return Reading(trace, total_mdb, total_mdb, tuple(events))


def _in_cords(scale: DistanceScale, *, first_um: int, last_um: int) -> list[TraceEvent]:
    """Return the events inside the cords; at the instrument's port and at the trace's end there is one by nature."""
    port_um, cord_end_um = scale.tolerance_um, scale.reach_um - scale.tolerance_um
    return [event for event in scale.events if port_um < event.at_um < first_um or last_um < event.at_um < cord_end_um]
