"""One fibre's case: its places and measurements, with what each trace shows, worked out once for all criteria."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.vocabulary.criteria import Criteria, LinkAttenuationCriterion
from service.vocabulary.finding import UnexpectedEventDocument, VoidDocument
from service.vocabulary.layout import Layout
from service.vocabulary.words import Reason
from worker.judgement.bidirectional import BidirectionalLoss, Sight, combine
from worker.judgement.clocks import latest_is_proven
from worker.judgement.counting import Counting, split_by_fault
from worker.judgement.exact import is_below_fibre_alone, limit_mdb
from worker.judgement.history import History, LinkLoss, Measurement, Trace
from worker.judgement.placed import PlacedTrace, Shown, no_reading, place_trace
from worker.judgement.places import Place, places_of


@dataclass(frozen=True, kw_only=True, slots=True)
class Subject:
    """What is kept of several traces of one thing: those that count, in the order they are asked, and the void ones.

    `sole` is the one trace that says all there is to say between the terminals, as on nearly every finished fibre.
    """

    traces: tuple[Trace, ...]
    void: tuple[tuple[Trace, Reason], ...]
    sole: PlacedTrace | None


class Case:
    """One fibre with its history, ready to be held against criteria."""

    def __init__(self, layout: Layout, *, criteria: Criteria, fibre: int, history: History) -> None:
        self.layout = layout
        self.criteria = criteria
        self.fibre = fibre
        self.history = history
        self.segments = layout.segments_of_fibre.get(fibre, ())
        self.joints = layout.joints_of(fibre)
        self.places = places_of(layout, self.joints)
        self.is_continuous = layout.is_continuous(fibre)
        self.counting = Counting(layout, history=history, final_after_sealing=criteria.final_after_sealing)
        self._losses: dict[tuple[int, int], BidirectionalLoss] = {}
        self._placed: dict[str, PlacedTrace] = {}
        self._subjects: dict[tuple[int, bool], Subject] = {}

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
            forward = self.see(place, wavelength_nm=wavelength_nm, is_forward=True)
            backward = self.see(place, wavelength_nm=wavelength_nm, is_forward=False)
            loss = self._losses[key] = combine(place, forward, backward)
        return loss

    def placed(self, trace: Trace) -> PlacedTrace:
        """Return what a trace shows at each place."""
        placed = self._placed.get(trace.stamp.id)
        if placed is None:
            placed = place_trace(self.layout, placing=self.criteria.placing, places=self.places, trace=trace)
            self._placed[trace.stamp.id] = placed
        return placed

    def subject(self, *, wavelength_nm: int, is_forward: bool) -> Subject:
        """Return a direction's traces: the latest of each pulse and pair of ends, shortest pulse first."""
        key = (wavelength_nm, is_forward)
        subject = self._subjects.get(key)
        if subject is None:
            subject = self._subjects[key] = self._sort_out(wavelength_nm=wavelength_nm, is_forward=is_forward)
        return subject

    def see(self, place: Place, *, wavelength_nm: int, is_forward: bool) -> Sight:
        """Return what one direction shows at a place: by the shortest pulse whose trace counts and reaches it."""
        subject = self.subject(wavelength_nm=wavelength_nm, is_forward=is_forward)
        if subject.sole is not None and not place.is_end:
            return Sight(shown=subject.sole.shown[place.site_index], trace=subject.sole.trace, void=())
        void = [item for item in subject.void if _covers(item[0], place)] if subject.void else []
        found: Shown | None = None
        found_by: Trace | None = None
        for trace in subject.traces:
            if not _covers(trace, place):
                continue
            fault = self.counting.fault_at(trace, place.site_index)
            if fault is not None:
                void.append((trace, fault))
                continue
            found, found_by = self.placed(trace).shown[place.site_index], trace
            if place.is_end:
                found = _past_cord(found, trace, place)
            # A longer pulse may reach farther or lie behind a cord; it cannot tell two events apart.
            if found.reason in {None, Reason.AMBIGUOUS_EVENT}:
                break
        shown = no_reading(reason_of(void)) if found is None else found
        return Sight(shown=shown, trace=found_by, void=void_documents(void) if void else ())

    def unexpected_events(self) -> list[UnexpectedEventDocument]:
        """Return the events of all counting traces that lie on no place, in order from A."""
        keys = sorted({(trace.wavelength_nm, trace.is_forward) for trace in self.history.traces})
        traces = [
            trace for nm, is_forward in keys for trace in self.subject(wavelength_nm=nm, is_forward=is_forward).traces
        ]
        events = [event for trace in traces for event in self.placed(trace).unexpected]
        return sorted(
            events,
            key=lambda event: (float(event["from_a_m"]), event["wavelength_nm"], event["direction"], event["record"]),
        )

    def _sort_out(self, *, wavelength_nm: int, is_forward: bool) -> Subject:
        own = [t for t in self.history.traces if t.wavelength_nm == wavelength_nm and t.is_forward is is_forward]
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
        return Subject(traces=tuple(latest), void=tuple(void), sole=self._sole(latest, void))

    def _sole(self, traces: Sequence[Trace], void: Sequence[tuple[Trace, Reason]]) -> PlacedTrace | None:
        if len(traces) != 1 or void:
            return None
        [trace] = traces
        covers_all = trace.low_index == 0 and trace.high_index == len(self.layout.design.sites) - 1
        return self.placed(trace) if covers_all and self.counting.is_plainly_final(trace) else None


def reason_of(void: Sequence[tuple[Measurement, Reason]]) -> Reason:
    """Return why nothing counts: what the latest says that was not replaced or withdrawn."""
    told = [item for item in void if item[1] is not Reason.REPLACED_OR_WITHDRAWN]
    return max(told, key=lambda item: item[0].stamp.key)[1] if told else Reason.NO_EVIDENCE


def void_documents(void: Sequence[tuple[Measurement, Reason]]) -> tuple[VoidDocument, ...]:
    """Write down what was set aside and why, in order of time."""
    in_order = sorted(void, key=lambda item: item[0].stamp.key)
    return tuple({"record": measurement.stamp.id, "reason": reason.value} for measurement, reason in in_order)


def _covers(trace: Trace, place: Place) -> bool:
    # A trace that starts or ends between the terminals sees only one side of what is joined there.
    if place.is_end:
        return trace.low_index <= place.site_index <= trace.high_index
    return trace.low_index < place.site_index < trace.high_index


def _past_cord(shown: Shown, trace: Trace, place: Place) -> Shown:
    """Return what is shown at an end, unless no cord lies before or behind it."""
    if shown.reason is Reason.LENGTH_UNLIKE:
        return shown
    is_start = place.site_index == (trace.low_index if trace.is_forward else trace.high_index)
    cord = trace.launch if is_start else trace.receive
    return no_reading(Reason.NO_CORD) if cord is None else shown
