"""What the traces of each side show: of each place, or why they may show nothing of it, and what lies on no place."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Placing
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import VoidRecord
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import UM_PER_CM, round_half_even
from worker.judgement.history.acts import History, Trace
from worker.judgement.history.events import TraceEvent
from worker.judgement.history.validity import (
    Side,
    TraceSet,
    Validity,
    first_fault,
    reason_of,
    sort_traces,
    void_records,
)
from worker.judgement.traces.aligned_trace import AlignedTrace, Reading
from worker.judgement.traces.alignment import Alignment, Designed, ScaledTrace, align, dead_zone_of, scale_traces
from worker.judgement.traces.places import Place, Plan, zoned_places
from worker.judgement.traces.sightings import SpanSightings, find_sightings
from worker.judgement.traces.spots import Spots, designed_spots


class OneWayLoss(NamedTuple):
    """The loss of a place in one direction, or the reason why it cannot be said.

    `readings` are the one that is used, or all of them where they contradict each other; `void` are the traces that
    were set aside.
    """

    reason: Reason | None
    readings: tuple[Reading, ...]
    void: tuple[VoidRecord, ...]


def select_reading(shown: Sequence[Reading | Reason], *, void: tuple[VoidRecord, ...]) -> OneWayLoss:
    """Return what the traces that reach a place come to, given in order of pulse, the shortest first.

    The least uncertain one is used, the shortest pulse of several; one that merges what another parts shows nothing.
    Without a word on noise one that sees the place outdoes all that do not.
    """
    if len(shown) == 1 and isinstance(shown[0], Reading):
        return OneWayLoss(None, (shown[0],), void)
    readings = tuple(one for one in shown if isinstance(one, Reading))
    used = min(readings, key=lambda reading: reading.uncertainty_mdb, default=None)
    # A longer pulse may reach farther or lie behind a cord; it cannot tell two events apart.
    if Reason.AMBIGUOUS_EVENT in (shown if used is None or not used.is_seen else shown[: shown.index(used)]):
        return OneWayLoss(Reason.AMBIGUOUS_EVENT, (), void)
    if used is None:
        return OneWayLoss(next(one for one in shown if isinstance(one, Reason)), (), void)
    if not all(one.agrees_with(other) for one, other in combinations(readings, 2)):
        return OneWayLoss(Reason.READINGS_DISAGREE, readings, void)
    return OneWayLoss(None, (used,), void)


class Shown(NamedTuple):
    """What each trace of one side shows of a place, the shortest pulse first, and those set aside.

    Where no trace counts there is the reason why.
    """

    by_traces: Sequence[Reading | Reason]
    void: Sequence[tuple[Trace, Reason]]


class UnexpectedEvent(NamedTuple):
    """An event on no place, with the loss that it shows, if it states one."""

    from_a_um: int
    trace: Trace
    event: TraceEvent

    @property
    def loss_mdb(self) -> int | None:
        """The loss that it shows, if it states one."""
        return self.event.loss_mdb

    @property
    def at_um(self) -> int:
        """How far from A it lies as it is written, to the centimetre."""
        return round_half_even(self.from_a_um, unit=UM_PER_CM) * UM_PER_CM

    @property
    def record(self) -> str:
        """The record of its trace."""
        return self.trace.stamp.id

    @property
    def side(self) -> Side:
        """From where it is seen."""
        return Side(self.trace.wavelength_nm, self.trace.is_forward)


@dataclass(frozen=True, kw_only=True, slots=True)
class FibreTraces:
    """The traces of one fibre, aligned to its places: by site index, in zones that hide places from each other."""

    places: tuple[Place, ...]
    validity: Validity
    sets: Mapping[Side, TraceSet]
    valid: tuple[Trace, ...]
    alignment: Alignment
    sightings: tuple[SpanSightings, ...]

    @property
    def are_shared(self) -> bool:
        """Tell whether some trace that counts may show two places by one event."""
        return any(self.alignment.of(trace).is_shared for trace in self.valid)

    def of_side(self, side: Side) -> TraceSet:
        """Return the traces of a side that count somewhere."""
        return self.sets.get(side, TraceSet())

    def shown_at(self, place: Place, side: Side) -> Shown:
        """Return what the traces of one side show of a place."""
        trace_set = self.of_side(side)
        if trace_set.sole is not None and not (place.is_end or place.zone):
            return Shown((self.alignment.of(trace_set.sole).readings[place.site_index],), ())
        void = [item for item in trace_set.void if _spans(item[0], place)]
        shown: list[Reading | Reason] = []
        for trace in trace_set.traces:
            if not _spans(trace, place):
                continue
            fault = self._fault_at(trace, place)
            if fault is not None:
                void.append((trace, fault))
            else:
                shown.append(_shown_by(self.alignment.of(trace), place))
        return Shown(shown or (reason_of(void),), void)

    def _fault_at(self, trace: Trace, place: Place) -> Reason | None:
        # What lies in one dead zone is one reading: what voids it for one of the sites voids it for all.
        own = place.zone or (place.site_index,)
        return first_fault(self.validity.fault_at(trace, site_index) for site_index in own)


def one_way_loss(traces: FibreTraces, place: Place, side: Side) -> OneWayLoss:
    """Return what one side shows of a place."""
    shown, void = traces.shown_at(place, side)
    return select_reading(shown, void=void_records(void) if void else ())


def losses_both_ways(traces: FibreTraces, wavelength_nm: int) -> tuple[list[OneWayLoss], list[OneWayLoss]]:
    """Return what traces from A and what those from B show of each place, in their order.

    Where from one end several places may be one event, no more is known from the other than what they lose together.
    """
    there, back = (
        [one_way_loss(traces, place, Side(wavelength_nm, is_forward)) for place in traces.places]
        for is_forward in (True, False)
    )
    if not traces.are_shared:
        return there, back
    return _together(traces.places, there, beside=back), _together(traces.places, back, beside=there)


def _together(places: Sequence[Place], own: Sequence[OneWayLoss], *, beside: Sequence[OneWayLoss]) -> list[OneWayLoss]:
    """Return losses with those of the places that the other direction may show in one event with them."""
    losses = dict(zip((place.site_index for place in places), own, strict=True))
    return [
        _with_others(losses, place.site_index, other.readings[0].beside)
        if other.reason is None
        else losses[place.site_index]
        for place, other in zip(places, beside, strict=True)
    ]


def _with_others(losses: Mapping[int, OneWayLoss], site: int, beside: frozenset[int]) -> OneWayLoss:
    own = losses[site]
    if own.reason is not None or beside <= own.readings[0].beside:
        return own
    others = [losses[other] for other in sorted(beside)]
    reason = next((one.reason for one in others if one.reason is not None), None)
    if reason is not None:
        return own._replace(reason=reason, readings=())
    reading = own.readings[0]
    high_mdb = reading.high_mdb + sum(one.readings[0].high_mdb for one in others)
    return own._replace(readings=(reading._replace(low_mdb=min(reading.low_mdb, high_mdb, 0), high_mdb=high_mdb),))


def unexpected_events(traces: FibreTraces) -> tuple[UnexpectedEvent, ...]:
    """Return the events of all valid traces that lie on no place, in order from A."""
    found = [
        UnexpectedEvent(traces.alignment.spot_um(aligned, event.at_um), trace, event)
        for trace in traces.valid
        if (aligned := traces.alignment.of(trace)).unexpected
        for event in aligned.unexpected
    ]
    return tuple(
        sorted(found, key=lambda one: (one.at_um, one.trace.wavelength_nm, not one.trace.is_forward, one.record))
    )


def align_fibre(spots: Spots, placing: Placing, *, fibre: int, history: History, validity: Validity) -> FibreTraces:
    """Align a fibre's traces to its places."""
    sets = sort_traces(spots.layout, history, validity)
    valid = tuple([trace for own in sets.values() for trace in own.traces])
    designed = _designed(spots, placing, fibre, sets)
    scaled = scale_traces(designed, valid=valid, every=history.traces)
    return FibreTraces(
        places=designed.places,
        validity=validity,
        sets=sets,
        valid=valid,
        alignment=align(designed, scaled, valid=valid),
        sightings=_sightings(designed, scaled, valid) if valid else (),
    )


def find_fibre_sightings(
    layout: Layout, placing: Placing, *, fibre: int, history: History, validity: Validity
) -> tuple[SpanSightings, ...]:
    """Return what a fibre's traces show, wherever its joints are."""
    sets = sort_traces(layout, history, validity)
    valid = tuple([trace for own in sets.values() for trace in own.traces])
    designed = _designed(designed_spots(layout), placing, fibre, sets)
    return _sightings(designed, scale_traces(designed, valid=valid, every=valid), valid)


def _designed(spots: Spots, placing: Placing, fibre: int, sets: Mapping[Side, TraceSet]) -> Designed:
    # The pulse that sees the least apart among those that each side has at its best.
    pulse_ns = max((own.traces[0].pulse_ns for own in sets.values() if own.traces), default=0)
    plan = Plan(spots, spots.layout.first_alike(fibre), dead_zone_of(pulse_ns, placing))
    return Designed(plan=plan, placing=placing, places=zoned_places(plan), pulse_ns=pulse_ns)


def _sightings(
    designed: Designed, scaled: Mapping[str, ScaledTrace], valid: Iterable[Trace]
) -> tuple[SpanSightings, ...]:
    own = [(trace, scaled[trace.stamp.id].scale) for trace in valid]
    return find_sightings(own, same_spot_um=designed.near_um // 2)


def _shown_by(aligned: AlignedTrace, place: Place) -> Reading | Reason:
    shown, trace = aligned.readings[place.site_index], aligned.trace
    near, far = trace.ends
    own = place.zone or (place.site_index,)
    if shown is Reason.LENGTH_UNLIKE or not (near in own or far in own):
        return shown
    if near in own and trace.launch is None:
        return Reason.NO_CORD
    if far not in own:
        return shown
    # What lies before a cord is measured only where the trace proves that the cord was there.
    return Reason.NO_CORD if trace.receive is None else aligned.shortfall or shown


def _spans(trace: Trace, place: Place) -> bool:
    # A trace that starts or ends between the terminals sees only one side of what is joined there.
    is_inside = trace.low_index < place.site_index < trace.high_index
    return is_inside or (place.is_end and place.site_index in trace.ends)
