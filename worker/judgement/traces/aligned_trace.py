"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, NamedTuple

from service.vocabulary.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import last_place, mdb_text
from worker.judgement.traces.distance_scale import Ruler, TracedEvent
from worker.judgement.traces.echoes import is_lossless
from worker.judgement.traces.event_assignment import Assignment, assign, nearest_to
from worker.judgement.traces.places import Place

Event = Mapping[str, Any]


class Reading(NamedTuple):
    """The loss that one trace shows at a place, by its `events`; without one it is not above the trace's threshold."""

    trace: Trace
    low_mdb: int
    high_mdb: int
    text: str
    distance_m: str | None
    events: tuple[Event, ...] = ()

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there."""
        return self.distance_m is not None

    def agrees_with(self, other: "Reading") -> bool:
        """Tell whether two readings of one place can both be right.

        A threshold is set where noise makes no more events, so no reading is off by more than its own, common practice.
        """
        apart_mdb = max(self.low_mdb - other.high_mdb, other.low_mdb - self.high_mdb)
        return apart_mdb <= self.trace.threshold_mdb + other.trace.threshold_mdb


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedTrace:
    """What one trace shows by site index, or why nothing; its events on no place; why it does not prove the far end.

    `is_clean` tells whether there is nothing about it that other traces could make clearer.
    """

    readings: Mapping[int, Reading | Reason]
    strays: tuple[TracedEvent, ...]
    shortfall: Reason | None
    is_clean: bool

    def sites_seen(self) -> list[int]:
        """Return the sites at which the trace has an event."""
        return [site for site in self.readings if self._is_seen(site)]

    def proving_nothing(self, reason: Reason) -> "PlacedTrace":
        """Return it as a trace that for some reason says nothing of any place."""
        return replace(self, readings=dict.fromkeys(self.readings, reason), shortfall=reason)

    def doubting(self, sites: Iterable[int]) -> "PlacedTrace":
        """Return it as a trace of which it is uncertain what it shows at some sites."""
        doubted = {site for site in sites if isinstance(self.readings.get(site), Reading)}
        return replace(self, readings={**self.readings, **dict.fromkeys(doubted, Reason.AMBIGUOUS_EVENT)})

    def blurred(self, zones: Iterable[Sequence[int]]) -> "PlacedTrace":
        """Return it as a trace that sees nothing alone in zones where it has not an event for each place."""
        hidden = [zone for zone in zones if not all(self._is_seen(site_index) for site_index in zone)]
        if not hidden:
            return self
        readings = dict(self.readings)
        for site_index in (site_index for zone in hidden for site_index in zone):
            if isinstance(readings.get(site_index), Reading):
                readings[site_index] = Reason.GROUP_ONLY
        return replace(self, readings=readings)

    def _is_seen(self, site_index: int) -> bool:
        reading = self.readings.get(site_index)
        return isinstance(reading, Reading) and reading.is_seen


class _Laid(NamedTuple):
    """Places in the order in which a trace's light meets them, where it should show them, and its events over them."""

    places: Sequence[Place]
    expected_um: Sequence[int]
    spots: Sequence[TracedEvent]


class _Reach(NamedTuple):
    """How far a trace goes, and the farthest joint that it shows."""

    ruler: Ruler
    joint_um: int | None

    def is_over(self, at_um: int) -> bool:
        """Tell whether the trace certainly runs over a spot."""
        return self.ruler.reaches(at_um, joint_um=self.joint_um)


def place_trace(trace: Trace, *, places: Sequence[Place], along_um: Sequence[int], ruler: Ruler) -> PlacedTrace:
    """Lay a trace over the places between its two ends; `along_um` is how far from its near end each of them lies."""
    if ruler.shortfall is Reason.LENGTH_UNLIKE:
        nothing = dict.fromkeys((place.site_index for place in places), ruler.shortfall)
        return PlacedTrace(readings=nothing, strays=(), shortfall=ruler.shortfall, is_clean=True)
    first_um, last_um = ruler.start_um - ruler.tolerance_um, ruler.end_um + ruler.tolerance_um
    own = [spot for spot in ruler.events if first_um <= spot.at_um <= last_um]
    whole = _Laid(places, [ruler.on_trace_um(along) for along in along_um], own)
    zones = list(_zones(whole, ruler)) if any(place.zone for place in places) else []
    laid = _outside_zones(whole, zones) if zones else whole
    found = assign(
        laid.expected_um,
        [at_um for at_um, _ in laid.spots],
        is_group=[place.is_group for place in laid.places],
        tolerance_um=ruler.tolerance_um,
    )
    strays = [laid.spots[event] for event in found.left_over]
    # With more events on nothing than on joints the trace does not fit the design, as after a cord's length was
    # mistyped; what it does not show then proves nothing.
    is_misfit = len(strays) > sum(map(len, found.events_of_place)) + sum(len(zone.spots) for zone in zones)
    in_doubt = found.contested | _missed(trace, laid, found, strays) if strays else found.contested
    joint_um = max((laid.spots[events[-1]].at_um for events in found.events_of_place if events), default=None)
    reach = _Reach(ruler, joint_um)
    readings = _read_places(trace, laid, found, reach=reach, in_doubt=in_doubt, is_misfit=is_misfit)
    for zone in zones:
        shown = _read_zone(trace, zone, reach=reach, beside=laid, is_misfit=is_misfit)
        readings |= dict.fromkeys((place.site_index for place in zone.places), shown)
    return PlacedTrace(
        readings=readings,
        strays=(*strays, *_in_cords(ruler, first_um=first_um, last_um=last_um), *ruler.behind_end),
        shortfall=ruler.shortfall or (Reason.AMBIGUOUS_EVENT if is_misfit else None),
        is_clean=not strays and not in_doubt,
    )


def _read_places(
    trace: Trace, laid: _Laid, found: Assignment, *, reach: _Reach, in_doubt: Iterable[int], is_misfit: bool
) -> dict[int, Reading | Reason]:
    ruler, unseen = reach.ruler, _unseen(trace)
    readings: dict[int, Reading | Reason] = {}
    for index, place in enumerate(laid.places):
        seen = found.events_of_place[index]
        if index in in_doubt or (is_misfit and not seen):
            readings[place.site_index] = Reason.AMBIGUOUS_EVENT
        elif seen and not ruler.ends_at(laid.spots[seen[0]].at_um):
            readings[place.site_index] = _read(trace, tuple([laid.spots[event].body for event in seen]))
        elif seen or not reach.is_over(laid.expected_um[index]):
            readings[place.site_index] = ruler.shortfall or Reason.BEYOND_REACH
        else:
            # Two polished ends always show themselves; where they do not, they are somewhere else.
            readings[place.site_index] = unseen if place.pair is None else Reason.PAIR_NOT_SEEN
    return readings


def _zones(laid: _Laid, ruler: Ruler) -> Iterator[_Laid]:
    """Give the places of each dead zone with all events between its first and its last place."""
    for _, indices in groupby(range(len(laid.places)), key=lambda index: laid.places[index].zone or index):
        own = list(indices)
        if laid.places[own[0]].zone:
            expected_um = [laid.expected_um[index] for index in own]
            low_um, high_um = expected_um[0] - ruler.tolerance_um, expected_um[-1] + ruler.tolerance_um
            spots = [spot for spot in laid.spots if low_um <= spot.at_um <= high_um]
            yield _Laid([laid.places[index] for index in own], expected_um, spots)


def _outside_zones(laid: _Laid, zones: Sequence[_Laid]) -> _Laid:
    taken = {id(spot) for zone in zones for spot in zone.spots}
    free = [index for index, place in enumerate(laid.places) if not place.zone]
    return _Laid(
        [laid.places[index] for index in free],
        [laid.expected_um[index] for index in free],
        [spot for spot in laid.spots if id(spot) not in taken],
    )


def _read_zone(trace: Trace, zone: _Laid, *, reach: _Reach, beside: _Laid, is_misfit: bool) -> Reading | Reason:
    """Return what a trace shows of a dead zone as a whole; `beside` are the places in none."""
    sites = {place.site_index for place in zone.places}
    is_whole = sites == set(zone.places[0].zone)
    if not is_whole or any(place.site_index in trace.ends and not place.is_end for place in zone.places):
        return Reason.GROUP_ONLY
    ruler = reach.ruler
    if not reach.is_over(zone.expected_um[-1]):
        return ruler.shortfall or Reason.BEYOND_REACH
    if is_misfit or any(_is_near(spot, beside.expected_um, tolerance_um=ruler.tolerance_um) for spot in zone.spots):
        return Reason.AMBIGUOUS_EVENT
    has_pair = zone.places[0].zone_has_pair
    if not zone.spots:
        return Reason.PAIR_NOT_SEEN if has_pair else _unseen(trace)
    reading = _read(trace, tuple(spot.body for spot in zone.spots))
    if has_pair or isinstance(reading, Reason):
        return reading
    # No criterion is about splices together: of each alone no more is known than that it has no more than all of them.
    return reading._replace(low_mdb=min(reading.low_mdb, 0))


def _is_near(spot: TracedEvent, expected_um: Sequence[int], *, tolerance_um: int) -> bool:
    return any(abs(expected_um[index] - spot.at_um) <= tolerance_um for index in nearest_to(expected_um, spot.at_um))


def _missed(trace: Trace, laid: _Laid, found: Assignment, strays: Sequence[TracedEvent]) -> set[int]:
    """Return the places without an event to which a stray loss is nearest: their joint may have been built there."""
    # Where no cord is, the trace begins or ends at the place itself.
    bare = {site for site, cord in zip(trace.ends, (trace.launch, trace.receive), strict=True) if cord is None}
    built = [index for index, place in enumerate(laid.places) if place.site_index not in bare]
    built_um = [laid.expected_um[index] for index in built]
    lossy_um = [at_um for at_um, event in strays if not is_lossless(event, threshold_mdb=trace.threshold_mdb)]
    nearest = {built[index] for at_um in lossy_um for index in nearest_to(built_um, at_um)}
    return {index for index in nearest if not found.events_of_place[index]}


def _unseen(trace: Trace) -> Reading:
    within = trace.threshold_mdb
    return Reading(trace=trace, low_mdb=-within, high_mdb=within, text=mdb_text(within), distance_m=None)


def _read(trace: Trace, events: tuple[Event, ...]) -> Reading | Reason:
    # One event's canonical text is that of its loss already.
    if len(events) == 1 and "loss_db" in events[0]:
        text = events[0]["loss_db"]
        total_mdb = last_place(text)
        return Reading(trace, total_mdb, total_mdb, text, events[0]["distance_m"], events)
    if any("loss_db" not in event for event in events):
        return Reason.LOSS_NOT_STATED
    total_mdb = sum(last_place(event["loss_db"]) for event in events)
    return Reading(trace, total_mdb, total_mdb, mdb_text(total_mdb), events[0]["distance_m"], events)


def _in_cords(ruler: Ruler, *, first_um: int, last_um: int) -> list[TracedEvent]:
    """Return the events inside the cords; at the instrument's port and at the trace's end there is one by nature."""
    port_um, cord_end_um = ruler.tolerance_um, ruler.reach_um - ruler.tolerance_um
    return [spot for spot in ruler.events if port_um < spot.at_um < first_um or last_um < spot.at_um < cord_end_um]
