"""One fibre with all that was measured on it, worked out once for all criteria."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import TracesDocument, UnexpectedEventDocument, VoidDocument
from service.vocabulary.words import Reason
from worker.judgement.fibre.bidirectional import BidirectionalLoss, combine
from worker.judgement.fibre.end_faces import end_face_fault, required_end_face_sites
from worker.judgement.history.acts import History, LinkLoss, Measurement, Trace
from worker.judgement.history.validity import Counting, split_by_fault
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import is_below_fibre_alone, limit_mdb
from worker.judgement.traces.aligned_trace import PlacedTrace, Reading
from worker.judgement.traces.alignment import Laying, dead_zone_of
from worker.judgement.traces.distance_scale import Ruler
from worker.judgement.traces.one_way import OneWayLoss, weigh
from worker.judgement.traces.places import Place, places_of, with_zones
from worker.judgement.traces.trace_documents import write_strays, write_traces
from worker.judgement.words import REASON_SPOKEN

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
        self.is_continuous = layout.is_continuous(number)
        self.counting = Counting(layout, history=history, final_after_sealing=criteria.final_after_sealing)
        self._end_face_sites = required_end_face_sites(criteria, layout)
        self._below_zero_tenth_mdb = limit_mdb(criteria.mean_below_zero_db) * _TENTHS
        self._losses: dict[tuple[int, int], BidirectionalLoss] = {}
        self._trace_sets: dict[tuple[int, bool], TraceSet] = {}
        pulse_ns = self._longest_pulse_ns()
        self.places = with_zones(places_of(layout, self.joints), dead_zone_of(pulse_ns, criteria.placing))
        self.laying = Laying(
            layout,
            placing=criteria.placing,
            places=self.places,
            pulse_ns=pulse_ns,
            counting=lambda: self.counting_traces,
        )

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
            self._losses[key] = loss = self._unless_end_face_fails(place, loss)
        return loss

    def one_way_loss_at(self, place: Place, *, wavelength_nm: int, is_forward: bool) -> OneWayLoss:
        """Return what one direction shows of a place, by every trace that counts and reaches over it."""
        shown, void = self.shown_at(place, wavelength_nm=wavelength_nm, is_forward=is_forward)
        return weigh(shown, void=void)

    def shown_at(
        self, place: Place, *, wavelength_nm: int, is_forward: bool
    ) -> tuple[Sequence[Reading | Reason], tuple[VoidDocument, ...]]:
        """Return what each trace of one direction shows of a place, the shortest pulse first, and those set aside.

        Where no trace counts there is the reason why.
        """
        trace_set = self.trace_set(wavelength_nm=wavelength_nm, is_forward=is_forward)
        if trace_set.sole is not None and not (place.is_end or place.zone):
            return (self.placed(trace_set.sole).readings[place.site_index],), ()
        void = [item for item in trace_set.void if _spans(item[0], place)]
        shown: list[Reading | Reason] = []
        for trace in trace_set.traces:
            if not _spans(trace, place):
                continue
            fault = self._fault_at(trace, place)
            if fault is not None:
                void.append((trace, fault))
            else:
                shown.append(self._shown_by(trace, place))
        return shown or (reason_of(void),), void_documents(void) if void else ()

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
        return self.laying.placed(trace)

    def ruler(self, trace: Trace) -> Ruler:
        """Return where the design's fibre lies on a trace."""
        return self.laying.ruler(trace)

    @cached_property
    def counting_traces(self) -> tuple[Trace, ...]:
        """The traces that count somewhere, by wavelength and direction."""
        return tuple(
            trace
            for nm in sorted({trace.wavelength_nm for trace in self.history.traces})
            for is_forward in (True, False)
            for trace in self.trace_set(wavelength_nm=nm, is_forward=is_forward).traces
        )

    def unexpected_events(self) -> list[UnexpectedEventDocument]:
        """Return the events of all counting traces that lie on no place, in order from A."""
        return write_strays(self.layout, self.laying, self.counting_traces)

    def traces_document(self) -> TracesDocument:
        """Return what else the counting traces tell, as far as there is any of it."""
        return write_traces(self.layout, self.laying, self.counting_traces)

    def _longest_pulse_ns(self) -> int:
        """Return the pulse that sees the least apart among those that each direction has at its best."""
        best: dict[tuple[int, bool], int] = {}
        for trace in self.counting_traces:
            side = (trace.wavelength_nm, trace.is_forward)
            best[side] = min(best.get(side, trace.pulse_ns), trace.pulse_ns)
        return max(best.values(), default=0)

    def _unless_end_face_fails(self, place: Place, loss: BidirectionalLoss) -> BidirectionalLoss:
        if loss.reason is not None or place.site_index not in self._end_face_sites:
            return loss
        fault = end_face_fault(self.history, place)
        return loss if fault is None else loss._replace(reason=fault, detail=f"{REASON_SPOKEN[fault]}; {loss.detail}")

    def _fault_at(self, trace: Trace, place: Place) -> Reason | None:
        # What lies in one dead zone is one reading: what voids it for one of the sites voids it for all.
        own = place.zone or (place.site_index,)
        faults = (self.counting.fault_at(trace, site_index) for site_index in own)
        return next((fault for fault in faults if fault is not None), None)

    def _shown_by(self, trace: Trace, place: Place) -> Reading | Reason:
        placed = self.placed(trace)
        shown = placed.readings[place.site_index]
        near, far = trace.ends
        own = place.zone or (place.site_index,)
        if shown is Reason.LENGTH_UNLIKE or not (near in own or far in own):
            return shown
        if near in own and trace.launch is None:
            return Reason.NO_CORD
        if far not in own:
            return shown
        # What lies before a cord is measured only where the trace proves that the cord was there.
        return Reason.NO_CORD if trace.receive is None else placed.shortfall or shown

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
