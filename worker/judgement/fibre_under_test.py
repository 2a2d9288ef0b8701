"""One fibre with all that was measured on it, worked out once for all criteria."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.vocabulary.criteria import Criteria, LinkAttenuationCriterion
from service.vocabulary.finding import UnexpectedEventDocument, VoidDocument
from service.vocabulary.layout import Layout
from service.vocabulary.words import Reason
from worker.judgement.bidirectional import BidirectionalLoss, combine
from worker.judgement.clocks import latest_is_proven
from worker.judgement.counting import Counting, split_by_fault
from worker.judgement.exact import is_below_fibre_alone, limit_mdb
from worker.judgement.history import History, LinkLoss, Measurement, Trace
from worker.judgement.one_way import OneWayLoss, weigh
from worker.judgement.placed import PlacedTrace, Reading, place_trace
from worker.judgement.places import Place, places_of
from worker.judgement.ruler import Ruler, measure

_TENTHS = 10


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceSet:
    """The traces of one direction and wavelength: the latest of each pulse, the shortest first, and the void ones.

    `sole` is the one that says all there is to say between the terminals, as on nearly every finished fibre.
    """

    traces: tuple[Trace, ...]
    void: tuple[tuple[Trace, Reason], ...]
    sole: Trace | None


class FibreUnderTest:
    """One fibre with its history, ready to be held against criteria."""

    def __init__(self, layout: Layout, *, criteria: Criteria, number: int, history: History) -> None:
        self.layout = layout
        self.criteria = criteria
        self.number = number
        self.history = history
        self.segments = layout.segments_of_fibre.get(number, ())
        self.joints = layout.joints_of(number)
        self.places = places_of(layout, self.joints)
        self.is_continuous = layout.is_continuous(number)
        self.counting = Counting(layout, history=history, final_after_sealing=criteria.final_after_sealing)
        self._below_zero_tenth_mdb = limit_mdb(criteria.mean_below_zero_db) * _TENTHS
        self._losses: dict[tuple[int, int], BidirectionalLoss] = {}
        self._placed: dict[str, PlacedTrace] = {}
        self._rulers: dict[str, Ruler] = {}
        self._trace_sets: dict[tuple[int, bool], TraceSet] = {}

    @property
    def length_um(self) -> int:
        """Fibre length of the design from end to end."""
        return self.layout.site_offsets_um[-1]

    @property
    def end_sites(self) -> tuple[str, str]:
        """The route's two terminals."""
        return self.layout.design.sites[0].id, self.layout.design.sites[-1].id

    def is_below_fibre_alone(self, loss: LinkLoss) -> bool:
        """Tell whether any criterion at its wavelength says that a loss is less than the fibre alone must have."""
        return any(
            is_below_fibre_alone(
                loss_mdb=loss.loss_mdb,
                least_mdb_per_km=limit_mdb(criterion.least_attenuation_db_per_km),
                length_um=self.length_um,
                uncertainty_mdb=limit_mdb(criterion.uncertainty_db),
            )
            for criterion in self.criteria.criteria
            if isinstance(criterion, LinkAttenuationCriterion) and criterion.wavelength_nm == loss.wavelength_nm
        )

    def loss_at(self, place: Place, *, wavelength_nm: int) -> BidirectionalLoss:
        """Return the loss of a place from both directions."""
        key = (place.site_index, wavelength_nm)
        loss = self._losses.get(key)
        if loss is None:
            forward = self.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=True)
            backward = self.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=False)
            loss = combine(place, forward, backward, below_zero_tenth_mdb=self._below_zero_tenth_mdb)
            self._losses[key] = loss
        return loss

    def one_way_loss_at(self, place: Place, *, wavelength_nm: int, is_forward: bool) -> OneWayLoss:
        """Return what one direction shows of a place, by every trace that counts and reaches over it."""
        trace_set = self.trace_set(wavelength_nm=wavelength_nm, is_forward=is_forward)
        if trace_set.sole is not None and not place.is_end:
            return weigh((self.placed(trace_set.sole).readings[place.site_index],), void=())
        void = [item for item in trace_set.void if _spans(item[0], place)]
        shown: list[Reading | Reason] = []
        for trace in trace_set.traces:
            if not _spans(trace, place):
                continue
            fault = self.counting.fault_at(trace, place.site_index)
            if fault is not None:
                void.append((trace, fault))
            else:
                shown.append(self._shown_by(trace, place))
        return weigh(shown or (reason_of(void),), void=void_documents(void) if void else ())

    def trace_set(self, *, wavelength_nm: int, is_forward: bool) -> TraceSet:
        """Return the traces of one direction and wavelength that count somewhere."""
        key = (wavelength_nm, is_forward)
        trace_set = self._trace_sets.get(key)
        if trace_set is None:
            own = [t for t in self.history.traces if t.wavelength_nm == wavelength_nm and t.is_forward is is_forward]
            trace_set = self._trace_sets[key] = self._sort_out(own)
        return trace_set

    def placed(self, trace: Trace) -> PlacedTrace:
        """Return what a trace shows at each place."""
        placed = self._placed.get(trace.stamp.id)
        if placed is None:
            ruler = self._ruler(trace)
            if ruler.wants_confirming and any(ruler.is_confirmed_by(self._ruler(other)) for other in self._back(trace)):
                ruler = ruler.confirmed()
            near_um = self.layout.site_offsets_um[trace.ends[0]]
            placed = place_trace(trace, places=self._places_of(trace), near_um=near_um, ruler=ruler)
            self._placed[trace.stamp.id] = placed
        return placed

    def unexpected_events(self) -> list[UnexpectedEventDocument]:
        """Return the events of all counting traces that lie on no place, in order from A."""
        traces = [
            trace
            for nm in sorted({trace.wavelength_nm for trace in self.history.traces})
            for is_forward in (True, False)
            for trace in self.trace_set(wavelength_nm=nm, is_forward=is_forward).traces
        ]
        return sorted(
            (event for trace in traces for event in self.placed(trace).unexpected),
            key=lambda event: (float(event["from_a_m"]), event["wavelength_nm"], event["direction"], event["record"]),
        )

    def _shown_by(self, trace: Trace, place: Place) -> Reading | Reason:
        placed = self.placed(trace)
        shown = placed.readings[place.site_index]
        if not place.is_end or shown is Reason.LENGTH_UNLIKE:
            return shown
        if place.site_index == trace.ends[0]:
            return Reason.NO_CORD if trace.launch is None else shown
        # What lies before a cord is measured only where the trace proves that the cord was there.
        return Reason.NO_CORD if trace.receive is None else placed.shortfall or shown

    def _places_of(self, trace: Trace) -> tuple[Place, ...]:
        own = tuple(place for place in self.places if trace.low_index <= place.site_index <= trace.high_index)
        return own if trace.is_forward else own[::-1]

    def _ruler(self, trace: Trace) -> Ruler:
        ruler = self._rulers.get(trace.stamp.id)
        if ruler is None:
            near_um, far_um = (self.layout.site_offsets_um[index] for index in trace.ends)
            inside = (abs(place.from_a_um - near_um) for place in self._places_of(trace) if _spans_inside(trace, place))
            ruler = measure(trace, span_um=abs(far_um - near_um), joints_um=inside, placing=self.criteria.placing)
            self._rulers[trace.stamp.id] = ruler
        return ruler

    def _back(self, trace: Trace) -> list[Trace]:
        """Return the traces of the same span from its other end, at any wavelength."""
        return [
            other
            for nm in sorted({one.wavelength_nm for one in self.history.traces})
            for other in self.trace_set(wavelength_nm=nm, is_forward=not trace.is_forward).traces
            if (other.low_index, other.high_index) == (trace.low_index, trace.high_index)
        ]

    def _sort_out(self, own: Sequence[Trace]) -> TraceSet:
        counting, void = split_by_fault(own, self.counting.fault_of)
        groups: dict[tuple[int, int, int], list[Trace]] = {}
        for trace in counting:
            groups.setdefault((trace.pulse_ns, trace.low_index, trace.high_index), []).append(trace)
        latest: list[Trace] = []
        for group in groups.values():
            trace = group[-1]
            if latest_is_proven([other.stamp for other in group]):
                latest.append(trace)
            else:
                void.append((trace, Reason.ORDER_NOT_PROVEN))
        latest.sort(key=lambda trace: trace.stamp.key, reverse=True)
        latest.sort(key=lambda trace: trace.pulse_ns)
        sole = latest[0] if len(latest) == 1 and not void and self._says_all(latest[0]) else None
        return TraceSet(traces=tuple(latest), void=tuple(void), sole=sole)

    def _says_all(self, trace: Trace) -> bool:
        covers_all = trace.low_index == 0 and trace.high_index == len(self.layout.design.sites) - 1
        return covers_all and self.counting.is_plainly_final(trace)


def reason_of(void: Sequence[tuple[Measurement, Reason]]) -> Reason:
    """Return why nothing counts: what the latest says that was not replaced or withdrawn."""
    told = [item for item in void if item[1] is not Reason.REPLACED_OR_WITHDRAWN]
    return max(told, key=lambda item: item[0].stamp.key)[1] if told else Reason.NO_EVIDENCE


def void_documents(void: Sequence[tuple[Measurement, Reason]]) -> tuple[VoidDocument, ...]:
    """Write down what was set aside and why, in order of time."""
    in_order = sorted(void, key=lambda item: item[0].stamp.key)
    return tuple({"record": measurement.stamp.id, "reason": reason.value} for measurement, reason in in_order)


def _spans(trace: Trace, place: Place) -> bool:
    # A trace that starts or ends between the terminals sees only one side of what is joined there.
    return _spans_inside(trace, place) or (place.is_end and place.site_index in trace.ends)


def _spans_inside(trace: Trace, place: Place) -> bool:
    return trace.low_index < place.site_index < trace.high_index
