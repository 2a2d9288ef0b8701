"""The criterion about the fibre's own attenuation, section by section or over a span."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from service.vocabulary.criteria.links import AttenuationCoefficientCriterion, Stretch
from service.vocabulary.criteria.words import From, Unit
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import PDB_PER_MDB, to_um
from worker.judgement.fibre.bidirectional import missing_reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent
from worker.judgement.history.validity import Side, first_fault, reason_of, void_records
from worker.judgement.numbers.exact import mdb_text
from worker.judgement.rules.base import LimitRule, length_over_um, segments_over
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, REASON_LABELS


class OneWayCoefficient(NamedTuple):
    """What one direction states of the fibre in a section, in 0.001 dB/km, or why it states nothing.

    It is one figure for all `over` which it shows no joint.
    """

    section: int
    is_forward: bool
    reason: Reason | None
    void: tuple[VoidRecord, ...]
    mdb_per_km: int = 0
    readings: tuple[RecordReading, ...] = ()
    over: Span | None = None


class CoefficientRule(LimitRule[AttenuationCoefficientCriterion]):
    """One limit for each kilometre of fibre; a span or section too short to be measured has no finding."""

    unit = Unit.DB_PER_KM

    def __init__(self, criterion: AttenuationCoefficientCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self._least_um = to_um(criterion.least_length_m)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each section or span of a continuous fibre that is long enough."""
        if not fibre.is_continuous:
            return
        is_of_spans = self.criterion.over is Stretch.SPAN
        sections = [Span(first=index, last=index + 1) for index in sorted(self.scope.sections)]
        for span in self.scope.spans if is_of_spans else sections:
            if not segments_over(fibre, span):
                continue
            # Of no length at all there is nothing to divide by, whatever the criteria say.
            if length_over_um(fibre, span) < max(self._least_um, 1):
                continue
            judgement = self._judge(fibre, span)
            if is_of_spans:
                yield self.span_finding(fibre, span, judgement)
            else:
                yield self.section_finding(fibre, span.first, judgement)

    def _judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Judge by the ends asked for; where either is enough, by the first of both, A and B that states anything."""
        tested_from = self.criterion.tested_from
        in_turn = (From.BOTH, From.A, From.B) if tested_from is From.EITHER else (tested_from,)
        judged = [self._judge_by(fibre, span, one.directions) for one in in_turn]
        return next((one for one in judged if one.bounds is not None), judged[0])

    def _judge_by(self, fibre: FibreMeasured, span: Span, directions: Sequence[bool]) -> Judgement:
        stated, known = read_coefficients(
            fibre, span, wavelength_nm=self.criterion.wavelength_nm, directions=directions
        )
        known = known._replace(limit=self.limit)
        if known.reason is not None:
            return known
        # Each section counts by its length, and each direction as much as the other.
        total_mdb = sum(fibre.layout.section_lengths_um[one.section] * one.mdb_per_km for one in stated)
        mean = Fraction(total_mdb * PDB_PER_MDB, len(directions) * length_over_um(fibre, span))
        held = known.held(mean, mean, self.limit)
        if mean >= 0:
            return held
        return held._replace(outcome=Outcome.UNDETERMINED, reason=Reason.BELOW_FIBRE_ALONE, grade=None)


def read_coefficients(
    fibre: FibreMeasured, span: Span, *, wavelength_nm: int, directions: Sequence[bool] = From.BOTH.directions
) -> tuple[list[OneWayCoefficient], Judgement]:
    """Return what the directions state of each section of a span, and what is known by that: why not all is."""
    stated = [
        _coefficient(fibre, section, Side(wavelength_nm, is_forward))
        for section in range(span.first, span.last)
        for is_forward in directions
    ]
    known = Judgement(
        Outcome.UNDETERMINED,
        missing_reason(*(one.reason for one in stated)),
        _detail(fibre, span, stated),
        readings=tuple(reading for one in stated for reading in one.readings),
        void=tuple({item.record: item for one in stated for item in one.void}.values()),
    )
    return stated, known


def _coefficient(fibre: FibreMeasured, section: int, side: Side) -> OneWayCoefficient:
    """Return what the shortest pulse states that states anything: the first that counts over the section."""
    trace_set = fibre.traces.of_side(side)
    void = [item for item in trace_set.void if _covers(item[0], section)]
    reasons: list[Reason] = []
    for trace in trace_set.traces:
        if not _covers(trace, section):
            continue
        first, last = _seen_between(fibre, trace, section)
        fault = _fault_over(fibre, trace, first, last)
        if fault is not None:
            void.append((trace, fault))
            continue
        shown = _event_at(fibre, trace, last if trace.is_forward else first)
        if isinstance(shown, Reason):
            reasons.append(shown)
        elif shown.mdb_per_km is None:
            reasons.append(Reason.COEFFICIENT_NOT_STATED)
        else:
            direction, value = DIRECTION[side.is_forward], shown.mdb_per_km
            reading = RecordReading(trace.stamp.id, direction, value=value, distance_m=shown.at_m)
            over = Span(first=first, last=last)
            return OneWayCoefficient(section, side.is_forward, None, void_records(void), value, (reading,), over)
    reason = reasons[0] if reasons else reason_of(void)
    return OneWayCoefficient(section, side.is_forward, reason, void_records(void))


def _covers(trace: Trace, section: int) -> bool:
    return trace.low_index <= section < trace.high_index


def _fault_over(fibre: FibreMeasured, trace: Trace, first: int, last: int) -> Reason | None:
    # Cleaning a connection changes nothing of the fibre behind it; a lid opened may have moved it.
    closures = (site for site in fibre.validity.closures if first <= site <= last)
    fault = first_fault(fibre.validity.fault_at(trace, site) for site in closures)
    return fault or fibre.aligned(trace).scale.length_fault


def _seen_between(fibre: FibreMeasured, trace: Trace, section: int) -> tuple[int, int]:
    """Return the sites around a section between which the trace shows nothing: its events state all that as one.

    The fibre runs uncut through a site, or the joint there is too good to be seen.
    """
    placed, first, last = fibre.aligned(trace), section, section + 1

    def is_passed(site: int) -> bool:
        shown = placed.readings.get(site)
        # What noise may hide there is the joint's, and no part of the fibre's own loss that the instrument states.
        is_unseen = shown is Reason.NOISE_NOT_KNOWN or (isinstance(shown, Reading) and not shown.is_seen)
        return site not in trace.ends and (shown is None or is_unseen)

    while is_passed(first):
        first -= 1
    while is_passed(last):
        last += 1
    return first, last


def _event_at(fibre: FibreMeasured, trace: Trace, site: int) -> TraceEvent | Reason:
    """Return the event at a site, as the light goes: it states the fibre before it."""
    placed = fibre.aligned(trace)
    if site == trace.ends[1] and trace.receive is None:
        return placed.shortfall or trace.ends_shown[0]
    shown = placed.readings.get(site, Reason.COEFFICIENT_NOT_STATED)
    if isinstance(shown, Reading):
        return shown.events[0] if shown.events else Reason.COEFFICIENT_NOT_STATED
    return shown


def _detail(fibre: FibreMeasured, span: Span, stated: list[OneWayCoefficient]) -> str:
    sections = fibre.layout.design.sections
    missing = [
        f"section {sections[one.section].id} {DIRECTION_LABELS[one.is_forward]}: {REASON_LABELS[one.reason]}"
        for one in stated
        if one.reason is not None
    ]
    if missing:
        return "; ".join(missing)
    if span.last - span.first > 1:
        is_both = len({one.is_forward for one in stated}) > 1
        ways = "and both directions" if is_both else DIRECTION_LABELS[stated[0].is_forward]
        return f"mean of {span.last - span.first} sections {ways}, weighted by length"
    said = " and ".join(_coefficient_text(fibre, one) for one in stated)
    return f"mean of {said}" if len(stated) > 1 else f"{said}, from one direction only"


def _coefficient_text(fibre: FibreMeasured, one: OneWayCoefficient) -> str:
    said = f"{mdb_text(one.mdb_per_km)} dB/km ({DIRECTION_LABELS[one.is_forward]}"
    if one.over is None or one.over.last - one.over.first == 1:
        return f"{said})"
    sections = fibre.layout.design.sections
    return f"{said}, {sections[one.over.first].id} to {sections[one.over.last - 1].id} as one)"
