"""The criterion about length: what traces show of each span against the design's fibre length."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from service.vocabulary.criteria.links import LengthCriterion
from service.vocabulary.criteria.words import From, Unit
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import decimal_text, metres_text, round_half_even
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.glass import Index
from worker.judgement.history.acts import Trace
from worker.judgement.history.validity import Side, reason_of, void_records
from worker.judgement.numbers.exact import PARTS
from worker.judgement.rules.base import LimitRule, length_over_um
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, at_wavelength

# Of a percentage, as limits and values are written.
_PLACES = 4


class _OneWay(NamedTuple):
    """What one direction shows of a span: its length on the first trace that counts, and the traces that do not.

    The length is of fibre: what the trace says, with its index taken out.
    """

    is_forward: bool
    void: tuple[tuple[Trace, Reason], ...]
    trace: Trace | None = None
    length_um: int = 0
    by_index: Index | None = None


class LengthRule(LimitRule[LengthCriterion]):
    """How far the mean length of both directions may be from the design's, in percent of it."""

    unit = Unit.PERCENT

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each span, or for what is joined where no trace was taken span by span."""
        if not fibre.is_continuous:
            return
        for span in self._spans(fibre):
            # Of no length there is no percentage.
            if length_over_um(fibre, span):
                yield self.span_finding(fibre, span, self.judge(fibre, span))

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold the length of a span against the design's."""
        ways, design_um = self._ways(fibre, span), length_over_um(fibre, span)
        measured = [(way.trace, way.length_um) for way in ways if way.trace is not None]
        void = [item for way in ways for item in way.void]
        said = " and ".join(_length_text(way) for way in ways)
        known = Judgement(
            Outcome.UNDETERMINED,
            None if len(measured) == len(ways) else reason_of(void),
            f"{said}, designed {metres_text(design_um)} m",
            limit=self.limit,
            readings=tuple(_reading_of(*own, design_um=design_um) for own in measured),
            void=void_records(void),
        )
        if known.reason is Reason.NO_EVIDENCE and measured:
            return known._replace(reason=Reason.ONE_DIRECTION_ONLY)
        if known.reason is not None:
            return known
        off = abs(_off_parts(sum(way.length_um for way in ways), design_um=len(ways) * design_um))
        return known.held(off, off, self.limit)

    def _ways(self, fibre: FibreMeasured, span: Span) -> Sequence[_OneWay]:
        """Return the directions that are asked for; where either is enough those there are, both if none is."""
        tested_from = self.criterion.tested_from
        if tested_from is From.BOTH:
            return _both_ways(fibre, span)
        ways = [_first_shown(fibre, span, is_forward=is_forward) for is_forward in tested_from.directions]
        there = [way for way in ways if way.trace is not None]
        return there[:1] or ways if tested_from is From.EITHER else ways

    def _spans(self, fibre: FibreMeasured) -> Sequence[Span]:
        own = {(span.first, span.last) for span in fibre.layout.spans}
        if any(trace.span in own for trace in fibre.history.traces if not trace.is_ended):
            return self.scope.spans
        return self.stretches(fibre)


def _both_ways(fibre: FibreMeasured, span: Span) -> tuple[_OneWay, _OneWay]:
    """Return both directions at the shortest wavelength that has both, else all that is there."""
    by_wavelength = [
        (_one_way(fibre, span, Side(nm, True)), _one_way(fibre, span, Side(nm, False)))
        for nm in sorted({trace.wavelength_nm for trace in fibre.history.traces})
    ]
    for ways in by_wavelength:
        if all(way.trace is not None for way in ways):
            return ways
    # The index of one wavelength says nothing of another's: two halves make no pair.
    forward, backward = (_first_shown(fibre, span, is_forward=is_forward) for is_forward in (True, False))
    return (forward, backward) if forward.trace is None else (forward, _OneWay(False, backward.void))


def _first_shown(fibre: FibreMeasured, span: Span, *, is_forward: bool) -> _OneWay:
    """Return what one direction shows at the shortest wavelength at which it shows anything."""
    wavelengths_nm = sorted({trace.wavelength_nm for trace in fibre.history.traces})
    found = [_one_way(fibre, span, Side(nm, is_forward)) for nm in wavelengths_nm]
    void = tuple(item for one in found for item in one.void)
    first = next((one for one in found if one.trace is not None), None)
    return _OneWay(is_forward, void) if first is None else first._replace(void=void)


def _one_way(fibre: FibreMeasured, span: Span, side: Side) -> _OneWay:
    trace_set, ends = fibre.traces.of_side(side), (span.first, span.last)
    void = [item for item in trace_set.void if item[0].span == ends]
    for trace in [trace for trace in trace_set.traces if trace.span == ends]:
        aligned = fibre.aligned(trace)
        fault = fibre.validity.fault_over(trace) or aligned.shortfall or aligned.scale.length_fault
        length_um = aligned.scale.length_in_glass_um
        if fault is None and length_um is not None:
            return _OneWay(side.is_forward, tuple(void), trace, length_um, aligned.scale.index)
        void.append((trace, fault or Reason.BEYOND_REACH))
    return _OneWay(side.is_forward, tuple(void))


def _length_text(way: _OneWay) -> str:
    direction = DIRECTION_LABELS[way.is_forward]
    if way.trace is None or way.by_index is None:
        return f"no length {direction} that counts"
    seen = f"{direction}{at_wavelength(way.trace.wavelength_nm)}"
    return f"{metres_text(way.length_um)} m ({seen}, {_index_text(way.by_index)})"


def _index_text(index: Index) -> str:
    """Say by what index a length was made of the trace's: two that were set otherwise are then alike."""
    if index.stated_e5 is None:
        return "no index stated"
    stated, reference = (decimal_text(one, places=5) for one in (index.stated_e5, index.reference_e5))
    return f"index {stated}" if stated == reference else f"index {stated} taken out for {reference}"


def _reading_of(trace: Trace, length_um: int, *, design_um: int) -> RecordReading:
    return RecordReading(
        record=trace.stamp.id,
        direction=DIRECTION[trace.is_forward],
        wavelength_nm=trace.wavelength_nm,
        value=round_half_even(_off_parts(length_um, design_um=design_um), unit=PARTS // 10**_PLACES),
        places=_PLACES,
    )


def _off_parts(length_um: int, *, design_um: int) -> Fraction:
    """Return how much longer than designed a length is, in 1e-12 of a percent."""
    return Fraction((length_um - design_um) * 100 * PARTS, design_um)
