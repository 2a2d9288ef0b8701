"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches."""

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import NamedTuple

from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace, TraceEvent
from worker.judgement.traces.crossed import Unlike
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.doubts import LaidTrace, Reaches, find_doubted, find_shared
from worker.judgement.traces.echoes import Echo
from worker.judgement.traces.event_assignment import Target, assign
from worker.judgement.traces.noise import TraceNoise
from worker.judgement.traces.places import Place, PlacesBetween, blur_um, surely_merged_um


class Reading(NamedTuple):
    """The loss that one trace shows at a place, by its `events`; without one it is what threshold and noise can hide.

    `noise_mdb` is how far noise may move a loss there, where that is known. `beside` are the first sites, by
    index, of the places whose loss may be in one event with its own.
    """

    trace: Trace
    low_mdb: int
    high_mdb: int
    events: tuple[TraceEvent, ...] = ()
    noise_mdb: int | None = None
    beside: frozenset[int] = frozenset()

    @property
    def shown_mdb(self) -> int:
        """What its events lose, or the most that it does not show."""
        if len(self.events) == 1:
            return self.events[0].loss_mdb or 0
        return sum(event.loss_mdb or 0 for event in self.events) if self.events else self.high_mdb

    @property
    def uncertainty_mdb(self) -> int:
        """How far the loss may be from what is shown, as far as anything is known of it."""
        return (self.noise_mdb or 0) if self.events else self.high_mdb

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there."""
        return bool(self.events)

    def agrees_with(self, other: "Reading") -> bool:
        """Tell whether two readings of one place can both be right.

        A threshold is set where noise makes no more events, so no reading is off by more than its own, common practice;
        far from the port noise comes to that.
        """
        apart_mdb = max(self.low_mdb - other.high_mdb, other.low_mdb - self.high_mdb)
        return apart_mdb <= self._off_by_mdb + other._off_by_mdb

    @property
    def _off_by_mdb(self) -> int:
        return self.trace.threshold_mdb + (self.noise_mdb or 0)


class PlainReadings(NamedTuple):
    """What a trace that is clean alone shows of the places between its two ends, as columns from A on.

    An entry is None at an end of the route, in a dead zone, and where not just one event that states its loss is seen:
    there ask the trace's `readings`. All others say no more than this: a loss that is both bounds, noise, one event.
    """

    sites: Sequence[int]
    losses_mdb: Sequence[int | None]
    noises_mdb: Sequence[int | None]
    at_m: Sequence[str | None]


@dataclass(frozen=True, kw_only=True, slots=True)
class AlignedTrace:
    """What one trace shows by site index, or why nothing; its events on no place; why it does not prove the far end.

    `plain` are the same readings as columns, where the trace proves its whole length, is clean and is not shared.

    `is_clean` tells whether there is nothing about it that other traces could make clearer, `is_misfit` whether more of
    its events lie on no place than on one: then it is not known where they lie. `is_shared` tells whether some place's
    loss may be in another's event.
    """

    trace: Trace
    scale: DistanceScale
    readings: Mapping[int, Reading | Reason]
    unexpected: tuple[TraceEvent, ...]
    shortfall: Reason | None
    is_clean: bool
    is_misfit: bool = False
    is_shared: bool = False
    echoes: tuple[Echo, ...] = ()
    unlike: Unlike | None = None
    plain: PlainReadings | None = None

    def sites_seen(self) -> set[int]:
        """Return the sites at which the trace has an event."""
        return {site for site, shown in self.readings.items() if isinstance(shown, Reading) and shown.is_seen}

    def events_at(self, site: int) -> tuple[TraceEvent, ...]:
        """Return the events that the trace has at a site."""
        shown = self.readings.get(site)
        return shown.events if isinstance(shown, Reading) else ()

    def proving_nothing(self, reason: Reason) -> "AlignedTrace":
        """Return it as a trace that for some reason says nothing of any place."""
        return replace(self, readings=dict.fromkeys(self.readings, reason), shortfall=reason, plain=None)

    def without(self, sites: Iterable[int], reason: Reason) -> "AlignedTrace":
        """Return it as a trace whose readings at some sites prove nothing, for a reason."""
        read = [site for site in sites if isinstance(self.readings.get(site), Reading)]
        readings = {**self.readings, **dict.fromkeys(read, reason)}
        return replace(self, readings=readings, plain=None) if read else self


def align_trace(
    trace: Trace, *, between: PlacesBetween, scale: DistanceScale, noise: TraceNoise, reaches: Reaches
) -> AlignedTrace:
    """Lay a trace over the places between its two ends."""
    if scale.shortfall is Reason.LENGTH_UNLIKE:
        nothing = dict.fromkeys((place.site_index for place in between.places), scale.shortfall)
        return AlignedTrace(
            trace=trace, scale=scale, readings=nothing, unexpected=(), shortfall=scale.shortfall, is_clean=True
        )
    first_um, last_um = scale.start_um - scale.tolerance_um, scale.end_um + scale.tolerance_um
    events = [event for event in scale.events if first_um <= event.at_um <= last_um]
    targets = _on_trace(between.targets, trace, scale)
    found = assign(targets, [event.at_um for event in events], same_um=reaches.same_um)
    left_over = [events[index] for index in found.left_over]
    # With more events on nothing than on joints the trace does not fit the design, as after a cord's length was
    # mistyped; what it does not show then proves nothing.
    is_misfit = len(left_over) > len(events) - len(left_over)
    laid = LaidTrace(trace, scale, noise, between, targets, events, found)
    in_doubt = found.contested | find_doubted(laid, reaches) if left_over else found.contested
    readings, shared = _read_places(laid, in_doubt, is_misfit=is_misfit), find_shared(laid, reaches)
    is_plain = not (left_over or in_doubt or shared or scale.shortfall)
    return AlignedTrace(
        trace=trace,
        scale=scale,
        readings=_share(laid, readings, shared) if shared else readings,
        unexpected=(*left_over, *_in_cords(scale, first_um=first_um, last_um=last_um), *scale.behind_end),
        shortfall=scale.shortfall or (Reason.AMBIGUOUS_EVENT if is_misfit else None),
        is_clean=not left_over and not in_doubt,
        is_misfit=is_misfit,
        is_shared=bool(shared),
        plain=_as_columns(between.places, readings) if is_plain else None,
    )


def _on_trace(targets: Sequence[Target], trace: Trace, scale: DistanceScale) -> list[Target]:
    """Return targets by their distances on the trace, with how far the event of each may lie from there."""
    tolerance_um, blurred_um = scale.tolerance_um, blur_um(trace.pulse_ns)
    lows_um = scale.all_on_trace_um([target.low_um for target in targets])
    highs_um = scale.all_on_trace_um([target.high_um for target in targets])
    # What the cable's fibres tell holds for a trace that shows its own length.
    is_long = scale.shortfall is None
    most_um = tolerance_um - blurred_um if is_long else 0
    return [
        Target(
            low_um,
            high_um,
            tolerance_um if within_um is None or within_um >= most_um else within_um + blurred_um,
            is_group,
        )
        for (_, _, within_um, is_group), low_um, high_um in zip(targets, lows_um, highs_um, strict=True)
    ]


def _read_places(laid: LaidTrace, in_doubt: Set[int], *, is_misfit: bool) -> dict[int, Reading | Reason]:
    """Return what the trace shows of each place, by site index."""
    events, events_of = laid.events, laid.found.events_of_target
    # The farthest joint that the trace shows.
    joint_um = max([events[own[-1]].at_um for own in events_of if own], default=None)
    shown: dict[int, Reading | Reason] = {}
    places, is_plain = laid.between.places, laid.scale.shortfall is None and not is_misfit
    trace, is_noise_known = laid.trace, laid.noise.is_known
    for index, members in enumerate(laid.between.members):
        place, seen = places[members[0]], events_of[index]
        if is_plain and not place.zone and index not in in_doubt:
            # As nearly all are: by itself, and with one event that states its loss.
            event = events[seen[0]] if len(seen) == 1 else None
            if event is None or event.loss_mdb is None:
                shown[place.site_index] = _plain_reading(laid, index, place)
            else:
                noise_mdb = laid.noise.at_mdb(event.at_um) if is_noise_known else None
                shown[place.site_index] = Reading(trace, event.loss_mdb, event.loss_mdb, (event,), noise_mdb)
            continue
        # What contradicts itself comes first: an event that may be another joint's proves neither of them.
        is_doubtful = index in in_doubt or (is_misfit and not laid.found.events_of_target[index])
        own = Reason.AMBIGUOUS_EVENT if is_doubtful else _reading(laid, index, joint_um=joint_um)
        for member in members:
            shown[places[member].site_index] = own
    return shown


def _as_columns(places: Sequence[Place], readings: Mapping[int, Reading | Reason]) -> PlainReadings:
    """Return the readings of one event each, from A on."""
    columns = [
        (place.site_index, shown.high_mdb, shown.noise_mdb, shown.events[0].at_m)
        if isinstance(shown := readings[place.site_index], Reading)
        and [event.loss_mdb is not None for event in shown.events] == [True]
        and not (place.is_end or place.zone)
        else (place.site_index, None, None, None)
        for place in sorted(places, key=attrgetter("site_index"))
    ]
    return PlainReadings(*zip(*columns, strict=True))


def _share(
    laid: LaidTrace, shown: Mapping[int, Reading | Reason], shared: Mapping[int, Sequence[int]]
) -> dict[int, Reading | Reason]:
    """Return readings that know with which others they may be of one event: what is not seen has no more than that."""
    owner_of = {event: index for index, own in enumerate(laid.found.events_of_target) for event in own}
    widened = dict(shown)
    for index, events in shared.items():
        together = {owner_of[event] for event in events}
        together |= {other for other, own in shared.items() if not set(own).isdisjoint(events)}
        for one in together:
            beside = frozenset([min(laid.sites_of(other)) for other in together if other != one])
            for site in laid.sites_of(one):
                if isinstance(own := widened[site], Reading):
                    widened[site] = own._replace(beside=own.beside | beside, low_mdb=min(own.low_mdb, 0))
        losses_mdb = [laid.events[event].loss_mdb for event in events]
        for site in laid.sites_of(index):
            if isinstance(own := widened[site], Reading):
                within_mdb = own.high_mdb + abs(sum(loss or 0 for loss in losses_mdb))
                wider = own._replace(low_mdb=-within_mdb, high_mdb=within_mdb)
                widened[site] = Reason.AMBIGUOUS_EVENT if None in losses_mdb else wider
    return widened


def _plain_reading(laid: LaidTrace, index: int, place: Place) -> Reading | Reason:
    """Return what a trace that shows its whole length shows of a place by itself."""
    own = laid.found.events_of_target[index]
    if own:
        return _read(laid.noise, [laid.events[event] for event in own])
    return Reason.PAIR_NOT_SEEN if place.pair is not None else _unseen(laid.noise, laid.targets[index].high_um)


def _reading(laid: LaidTrace, index: int, *, joint_um: int | None) -> Reading | Reason:
    scale, target = laid.scale, laid.targets[index]
    places = [laid.between.places[member] for member in laid.between.members[index]]
    seen = [laid.events[event] for event in laid.found.events_of_target[index]]
    if places[0].zone and not _is_whole(laid, places):
        return Reason.GROUP_ONLY
    if seen and (scale.shortfall is None or not scale.ends_at(seen[0].at_um)):
        return _together(laid, places, _read(laid.noise, seen))
    if seen or not scale.reaches(target.high_um, joint_um=joint_um):
        return scale.shortfall or Reason.BEYOND_REACH
    # Two polished ends always show themselves; where they do not, they are somewhere else.
    has_pair = places[0].zone_has_pair if places[0].zone else places[0].pair is not None
    return Reason.PAIR_NOT_SEEN if has_pair else _unseen(laid.noise, target.high_um)


def _is_whole(laid: LaidTrace, places: Sequence[Place]) -> bool:
    """Tell whether the trace runs over all that one dead zone covers."""
    sites = {place.site_index for place in places}
    is_cut = any(place.site_index in laid.trace.ends and not place.is_end for place in places)
    return sites == set(places[0].zone) and not is_cut


def _together(laid: LaidTrace, places: Sequence[Place], reading: Reading | Reason) -> Reading | Reason:
    if not places[0].zone or places[0].zone_has_pair or isinstance(reading, Reason):
        return reading
    # No criterion is about splices together: of each alone no more is known than that it has no more than all.
    # Where the trace may part them, those that it does not show come on top, each within what it shows of nothing.
    apart_um = abs(places[-1].from_a_um - places[0].from_a_um)
    is_merged = apart_um <= surely_merged_um(laid.trace.pulse_ns)
    unseen = 0 if is_merged else max(len(places) - len(reading.events), 0)
    hidden_mdb = laid.noise.unseen_mdb(reading.events[0].at_um) if unseen else 0
    if hidden_mdb is None:
        return Reason.NOISE_NOT_KNOWN
    return reading._replace(low_mdb=min(reading.low_mdb, 0), high_mdb=reading.high_mdb + unseen * hidden_mdb)


def _unseen(noise: TraceNoise, at_um: int) -> Reading | Reason:
    within_mdb = noise.unseen_mdb(at_um)
    if within_mdb is None:
        return Reason.NOISE_NOT_KNOWN
    return Reading(noise.trace, -within_mdb, within_mdb, noise_mdb=noise.at_mdb(at_um))


def _read(noise: TraceNoise, events: Sequence[TraceEvent]) -> Reading | Reason:
    total_mdb = 0
    for event in events:
        if event.loss_mdb is not None:
            total_mdb += event.loss_mdb
        elif not noise.trace.is_merged(event, events[0]):
            return Reason.LOSS_NOT_STATED
    return Reading(noise.trace, total_mdb, total_mdb, tuple(events), noise.at_mdb(events[0].at_um))


def _in_cords(scale: DistanceScale, *, first_um: int, last_um: int) -> list[TraceEvent]:
    """Return the events inside the cords; at the instrument's port and at the trace's end there is one by nature."""
    port_um, cord_end_um = scale.tolerance_um, scale.reach_um - scale.tolerance_um
    return [event for event in scale.events if port_um < event.at_um < first_um or last_um < event.at_um < cord_end_um]
