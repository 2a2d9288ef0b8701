"""A fibre's tests between two sites, its ends or others: by one measurement, or by traces that join up."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

from service.vocabulary.criteria.base import Test
from service.vocabulary.criteria.criteria import SegmentsProven
from service.vocabulary.criteria.words import From, LinkStretch
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.bidirectional import missing_reason
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Continuity, Dispersion, Link, LinkLoss, Measurement, ReturnLoss, Trace
from worker.judgement.history.validity import Side, reason_of, split_by_fault, void_records
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, REASON_LABELS, TEST_LABELS, at_wavelength

_KINDS: Mapping[Test, type[Link]] = {
    "attenuation": LinkLoss,
    "return_loss": ReturnLoss,
    "dispersion": Dispersion,
    "continuity": Continuity,
}
_FROM_ONE_END: frozenset[Test] = frozenset({"otdr", "return_loss"})


@dataclass(frozen=True, kw_only=True, slots=True)
class DirectionTest:
    """One direction's test of a fibre between two sites: by which measurements, or why there is none.

    Those set aside are `void`; `between` names the two sites in the direction of the light, where they are not its
    ends.
    """

    test: Test
    wavelength_nm: int | None
    is_forward: bool
    missing: Reason | None
    measurements: tuple[Measurement, ...]
    void: tuple[tuple[Measurement, Reason], ...]
    between: tuple[str, str] | None = None

    @property
    def named(self) -> str:
        """Name the test: its kind, its direction or its two sites, and its wavelength."""
        way = DIRECTION_LABELS[self.is_forward] if self.between is None else "from {} to {}".format(*self.between)
        return f"{TEST_LABELS[self.test]} {way}{at_wavelength(self.wavelength_nm)}"

    @property
    def why_missing(self) -> str:
        """Say which test is missing, and why what was made does not count; nothing where it is there."""
        named = f"no {self.named}"
        if self.missing is None:
            return ""
        return named if self.missing is Reason.NO_EVIDENCE else f"{named} that counts: {REASON_LABELS[self.missing]}"


def can_be_made(fibre: FibreMeasured, test: Test, *, is_forward: bool, between: Span) -> bool:
    """Tell whether a test can be made: none starts at an end not built yet, and some need an instrument at both.

    Where segments are proven alone, all are tested up to the bare fibre.
    """
    if fibre.criteria.segments_proven is SegmentsProven.ALONE:
        return True
    unbuilt = fibre.layout.unbuilt_ends & {between.first, between.last}
    start = between.first if is_forward else between.last
    return not unbuilt or (test in _FROM_ONE_END and start not in unbuilt)


def stretches_of(fibre: FibreMeasured, over: LinkStretch) -> tuple[Span, ...]:
    """Return over what a fibre is tested that runs from end to end: the whole route, its spans, or what is joined.

    Spans lie between neighbouring sites at which it has a connection, or the route ends. Through a panel in which it is
    spliced or uncut it runs on: nothing can be connected to it there. As long as some segments are not joined, the
    whole route is asked of these.
    """
    if not fibre.is_continuous:
        return ()
    if over is LinkStretch.ROUTE:
        return (fibre.whole,)
    if over is LinkStretch.JOINED:
        joined = fibre.joined
        return (*(part.span for part in joined.parts), *((fibre.whole,) if joined.unmade else ()))
    pairs = {joint.site_index for joint in fibre.joints if joint.kind is JointKind.PAIR}
    ends = sorted({fibre.whole.first, fibre.whole.last, *pairs})
    return tuple(Span(first=first, last=last) for first, last in pairwise(ends))


def find_test(
    fibre: FibreMeasured,
    *,
    test: Test,
    wavelength_nm: int | None,
    is_forward: bool,
    between: Span | None = None,
    is_wanted: Callable[[Link], bool] | None = None,
) -> DirectionTest:
    """Return what one direction has of a test between two sites, or between the route's ends where none are named.

    A measurement of one value that is not wanted is passed over. A trace counts that lies between the two sites: one
    that runs through them sees the connections there mated, which is another test. In a closure there is none, so that
    one from farther away counts too.
    """
    span = between or fibre.whole
    if is_wanted is not None:
        return _find_test(fibre, test, wavelength_nm, span, is_forward=is_forward, is_wanted=is_wanted)
    question = test, wavelength_nm, is_forward, span.first, span.last
    found = fibre.tests_found.get(question)
    if found is None:
        found = _find_test(fibre, test, wavelength_nm, span, is_forward=is_forward, is_wanted=lambda _: True)
        fibre.tests_found[question] = found
    return cast("DirectionTest", found)


def _find_test(
    fibre: FibreMeasured,
    test: Test,
    wavelength_nm: int | None,
    span: Span,
    *,
    is_forward: bool,
    is_wanted: Callable[[Link], bool],
) -> DirectionTest:
    if test == "otdr":
        assert wavelength_nm is not None
        missing, measurements, void = _find_traces(fibre, Side(wavelength_nm, is_forward), span)
    else:
        own = [
            one
            for one in fibre.history.links_of(_KINDS[test])
            if (one.wavelength_nm, one.is_forward) == (wavelength_nm, is_forward) and is_wanted(one)
        ]
        missing, measurements, void = _find_one_value(fibre, own, span)
    return DirectionTest(
        test=test,
        wavelength_nm=wavelength_nm,
        is_forward=is_forward,
        missing=missing,
        measurements=tuple(measurements),
        void=tuple(void),
        between=None if span == fibre.whole else _names(fibre, span, is_forward=is_forward),
    )


def _names(fibre: FibreMeasured, span: Span, *, is_forward: bool) -> tuple[str, str]:
    first, last = (fibre.layout.design.sites[index].id for index in (span.first, span.last))
    return (first, last) if is_forward else (last, first)


def both_ways(
    fibre: FibreMeasured,
    *,
    test: Test,
    wavelength_nm: int | None,
    between: Span | None = None,
    is_wanted: Callable[[Link], bool] | None = None,
) -> tuple[DirectionTest, DirectionTest]:
    """Return what A to B and B to A have of a test between two sites, or between the route's ends."""
    forward, backward = (
        find_test(
            fibre,
            test=test,
            wavelength_nm=wavelength_nm,
            is_forward=is_forward,
            between=between,
            is_wanted=is_wanted,
        )
        for is_forward in (True, False)
    )
    return forward, backward


def tests_from(
    fibre: FibreMeasured,
    tested_from: From,
    *,
    test: Test,
    wavelength_nm: int | None,
    between: Span | None = None,
) -> tuple[DirectionTest, ...]:
    """Return the directions of a test that are asked for; where either is enough those there are, both if none is."""
    found = tuple(
        find_test(fibre, test=test, wavelength_nm=wavelength_nm, is_forward=is_forward, between=between)
        for is_forward in tested_from.directions
    )
    there = tuple(one for one in found if one.missing is None)
    return there or found if tested_from is From.EITHER else found


def is_dark(fibre: FibreMeasured) -> bool:
    """Tell whether every test of a fibre's continuity that counts saw no light, and there is one."""
    tests = [
        one
        for way in both_ways(fibre, test="continuity", wavelength_nm=None)
        for one in way.measurements
        if isinstance(one, Continuity)
    ]
    return bool(tests) and all(one.seen_fibre is None for one in tests)


def known_of(*found: DirectionTest, read: Callable[[Measurement], RecordReading] | None = None) -> Judgement:
    """Return what is known before anything is held against a limit; without a reason it is to be held."""
    return Judgement(
        outcome=Outcome.UNDETERMINED,
        reason=missing_reason(*(one.missing for one in found)),
        detail="; ".join(why for one in found if (why := one.why_missing)),
        readings=tuple((read or reading_of)(own) for one in found for own in one.measurements),
        void=void_records([item for one in found for item in one.void]),
    )


def reading_of(measurement: Measurement, value: int | None = None, *, places: int = 3) -> RecordReading:
    """Return a measurement with what it says, if that is a number, as an integer of the last of its places."""
    return RecordReading(measurement.stamp.id, DIRECTION[measurement.is_forward], value=value, places=places)


_Found = tuple[Reason | None, Sequence[Measurement], Sequence[tuple[Measurement, Reason]]]


def _find_traces(fibre: FibreMeasured, side: Side, span: Span) -> _Found:
    """Return the traces of one side that count over the whole of what they cover, if they join up between two sites."""
    trace_set = fibre.traces.of_side(side)
    sole = trace_set.sole
    if sole is not None and sole.span == (span.first, span.last) and fibre.aligned(sole).shortfall is None:
        # As on nearly every finished fibre, of which several rules ask.
        return None, (sole,), ()
    own = [one for one in trace_set.traces if _is_within(fibre.layout, one, span)]
    good, unsealed = split_by_fault(own, fibre.validity.fault_over)
    full, short = split_by_fault(good, lambda trace: fibre.aligned(trace).shortfall)
    void = (*(item for item in trace_set.void if _is_within(fibre.layout, item[0], span)), *unsealed)
    # Segments that are proven alone were tested up to a closure before the splice there was made, which no test of them
    # says anything of: there one has to run over it.
    in_parts = fibre.criteria.segments_proven is SegmentsProven.ALONE
    reached = span.first
    for low, high in sorted(trace.span for trace in full):
        is_open = in_parts and low == reached > span.first and not fibre.layout.has_connections(low)
        reached = max(reached, high) if low <= reached and not is_open else reached
    if reached >= span.last:
        return None, full, void
    return short[0][1] if short else reason_of(void), full, (*void, *short)


def _is_within(layout: Layout, trace: Trace, span: Span) -> bool:
    if trace.high_index <= span.first or trace.low_index >= span.last:
        return False
    runs_in = trace.low_index < span.first and layout.has_connections(span.first)
    runs_out = trace.high_index > span.last and layout.has_connections(span.last)
    return not (runs_in or runs_out)


def _find_one_value(fibre: FibreMeasured, own: Sequence[Link], span: Span) -> _Found:
    """Return the latest measurement between two sites that counts."""
    whole = [
        one
        for one in own
        # Where another fibre was lit and this one seen, this one was not tested.
        if one.span == (span.first, span.last) and not (isinstance(one, Continuity) and one.fibre != fibre.number)
    ]
    faults_of = fibre.validity.fault_of, fibre.validity.fault_over, fibre.prepared.fault_of_loss
    if len(whole) == 1 and not any(fault_of(whole[0]) for fault_of in faults_of):
        # As on nearly every finished fibre.
        return None, whole, ()
    good, void = split_by_fault(whole, *faults_of)
    if good and not latest_is_proven([one.stamp for one in good]):
        void += [(one, Reason.ORDER_NOT_PROVEN) for one in good]
        good = []
    return None if good else reason_of(void), good[-1:], void
