"""The criterion about length: what traces show of each span against the design's fibre length."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from service.vocabulary.criteria.links import LengthCriterion
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.quantities import metres_text, round_half_even
from service.vocabulary.words import Outcome, Reason, Unit
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.history.validity import Side, reason_of, void_records
from worker.judgement.numbers.exact import PARTS
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.base import Rule, length_over_um, span_finding
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, at_wavelength

# Of a percentage, as limits and values are written.
_PLACES = 4


class _Measured(NamedTuple):
    trace: Trace
    length_um: int


class _OneWay(NamedTuple):
    measured: tuple[_Measured, ...]
    void: tuple[tuple[Trace, Reason], ...]


class LengthRule(Rule[LengthCriterion]):
    """How far the mean length of both directions may be from the design's, in percent of it."""

    def __init__(self, criterion: LengthCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = Limit.most(to_parts(criterion.limit_percent, places=2), unit=Unit.PERCENT)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each span, or for the whole fibre where no trace was taken span by span."""
        if not fibre.is_continuous:
            return
        for span in self._spans(fibre):
            # Of no length there is no percentage.
            if length_over_um(fibre, span):
                yield span_finding(self.criterion, fibre, span, self.judge(fibre, span))

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold the length of a span against the design's."""
        forward, backward = _pair(fibre, span)
        design_um = length_over_um(fibre, span)
        known = Judgement(
            Outcome.UNDETERMINED,
            _reason(forward, backward),
            f"{_length_text(forward, is_forward=True)} and {_length_text(backward, is_forward=False)}, "
            f"designed {metres_text(design_um)} m",
            limit=self.limit,
            readings=tuple(_reading_of(own, design_um=design_um) for own in (*forward.measured, *backward.measured)),
            void=void_records([*forward.void, *backward.void]),
        )
        if known.reason is not None:
            return known
        twice_um = forward.measured[0].length_um + backward.measured[0].length_um
        off = abs(_off_parts(twice_um, design_um=2 * design_um))
        return known.held(off, off, self.limit)

    def _spans(self, fibre: FibreMeasured) -> Sequence[Span]:
        own = {(span.first, span.last) for span in fibre.layout.spans}
        if any((trace.low_index, trace.high_index) in own for trace in fibre.history.traces if not trace.is_ended):
            return self.scope.spans
        whole = Span(first=0, last=len(fibre.layout.design.sites) - 1)
        return (whole,) if self.scope.holds_end_to_end else ()


def _pair(fibre: FibreMeasured, span: Span) -> tuple[_OneWay, _OneWay]:
    """Return both directions at the shortest wavelength that has both, else all that is there."""
    by_wavelength = [
        (
            _one_way(fibre, span, wavelength_nm=nm, is_forward=True),
            _one_way(fibre, span, wavelength_nm=nm, is_forward=False),
        )
        for nm in sorted({trace.wavelength_nm for trace in fibre.history.traces})
    ]
    for forward, backward in by_wavelength:
        if forward.measured and backward.measured:
            return forward, backward
    # The index of one wavelength says nothing of another's: two halves make no pair.
    forwards, backwards = [forward for forward, _ in by_wavelength], [backward for _, backward in by_wavelength]
    one, other = _merged(forwards), _merged(backwards)
    return (one, other._replace(measured=())) if one.measured else (one, other)


def _merged(found: Sequence[_OneWay]) -> _OneWay:
    measured = [own for one in found for own in one.measured]
    return _OneWay(tuple(measured[:1]), tuple(item for one in found for item in one.void))


def _one_way(fibre: FibreMeasured, span: Span, *, wavelength_nm: int, is_forward: bool) -> _OneWay:
    trace_set = fibre.traces.of_side(Side(wavelength_nm, is_forward))
    void = [item for item in trace_set.void if _goes_over(item[0], span)]
    for trace in trace_set.traces:
        if not _goes_over(trace, span):
            continue
        fault, length_um = (
            fibre.validity.fault_over(trace) or fibre.aligned(trace).shortfall,
            fibre.aligned(trace).scale.length_um,
        )
        if fault is None and length_um is not None:
            return _OneWay((_Measured(trace, length_um),), tuple(void))
        void.append((trace, fault or Reason.BEYOND_REACH))
    return _OneWay((), tuple(void))


def _goes_over(trace: Trace, span: Span) -> bool:
    return (trace.low_index, trace.high_index) == (span.first, span.last)


def _reason(forward: _OneWay, backward: _OneWay) -> Reason | None:
    if forward.measured and backward.measured:
        return None
    reason = reason_of([*forward.void, *backward.void])
    is_one_way = forward.measured or backward.measured
    return Reason.ONE_DIRECTION_ONLY if is_one_way and reason is Reason.NO_EVIDENCE else reason


def _length_text(found: _OneWay, *, is_forward: bool) -> str:
    if not found.measured:
        return f"no length {DIRECTION_LABELS[is_forward]} that counts"
    [(trace, length_um)] = found.measured
    return f"{metres_text(length_um)} m ({DIRECTION_LABELS[is_forward]}{at_wavelength(trace.wavelength_nm)})"


def _reading_of(measured: _Measured, *, design_um: int) -> RecordReading:
    trace, off = measured.trace, _off_parts(measured.length_um, design_um=design_um)
    return RecordReading(
        record=trace.stamp.id,
        direction=DIRECTION[trace.is_forward],
        wavelength_nm=trace.wavelength_nm,
        value=round_half_even(off, unit=PARTS // 10**_PLACES),
        places=_PLACES,
    )


def _off_parts(length_um: int, *, design_um: int) -> Fraction:
    """Return how much longer than designed a length is, in 1e-12 of a percent."""
    return Fraction((length_um - design_um) * 100 * PARTS, design_um)
