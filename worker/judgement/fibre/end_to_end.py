"""Whether a test from end to end is there in one direction: by one measurement, or by spans that join up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from service.vocabulary.criteria.required_tests import Test
from service.vocabulary.findings.finding import ReadingDocument
from service.vocabulary.words import Outcome, Reason
from worker.judgement.fibre.fibre_under_test import FibreUnderTest, reason_of, void_documents
from worker.judgement.fibre.findings import Judgement
from worker.judgement.history.acts import Continuity, LinkLoss, Measurement, Trace
from worker.judgement.history.validity import split_by_fault
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.words import DIRECTION, REASON_SPOKEN, SPOKEN, TEST_SPOKEN, at_wavelength


@dataclass(frozen=True, kw_only=True, slots=True)
class EndToEndTest:
    """One direction's test of the whole fibre: by which measurements, or why there is none, and those set aside."""

    test: Test
    wavelength_nm: int | None
    is_forward: bool
    missing: Reason | None
    measurements: tuple[Measurement, ...]
    void: tuple[tuple[Measurement, Reason], ...]

    @property
    def why_missing(self) -> str:
        """Say which test is missing, and why what was made does not count; nothing where it is there."""
        named = f"no {TEST_SPOKEN[self.test]} {SPOKEN[self.is_forward]}{at_wavelength(self.wavelength_nm)}"
        if self.missing is None:
            return ""
        return named if self.missing is Reason.NO_EVIDENCE else f"{named} that counts: {REASON_SPOKEN[self.missing]}"


def end_to_end_test(
    fibre: FibreUnderTest,
    *,
    test: Test,
    wavelength_nm: int | None,
    is_forward: bool,
    is_wanted: Callable[[Measurement], bool] = lambda _: True,
) -> EndToEndTest:
    """Return what one direction has of a test from end to end; what is not wanted is passed over."""
    if test == "otdr":
        assert wavelength_nm is not None
        return _by_traces(fibre, wavelength_nm=wavelength_nm, is_forward=is_forward)
    own = [
        one
        for one in fibre.history.links.get(test, ())
        if _is_own(fibre, one)
        and one.wavelength_nm == wavelength_nm
        and one.is_forward is is_forward
        and is_wanted(one)
    ]
    return _by_one_value(fibre, own, test=test, wavelength_nm=wavelength_nm, is_forward=is_forward)


def both_ways(
    fibre: FibreUnderTest,
    *,
    test: Test,
    wavelength_nm: int | None,
    is_wanted: Callable[[Measurement], bool] = lambda _: True,
) -> tuple[EndToEndTest, EndToEndTest]:
    """Return what A to B and B to A have of a test from end to end."""
    forward, backward = (
        end_to_end_test(fibre, test=test, wavelength_nm=wavelength_nm, is_forward=is_forward, is_wanted=is_wanted)
        for is_forward in (True, False)
    )
    return forward, backward


def missing_reason(*found: EndToEndTest) -> Reason | None:
    """Return why a test is missing in any direction; a test that does not count tells more than none."""
    reasons = [one.missing for one in found if one.missing is not None]
    return next((reason for reason in reasons if reason is not Reason.NO_EVIDENCE), reasons[0] if reasons else None)


def known_of(
    reason: Reason | None, *found: EndToEndTest, read: Callable[[Measurement], ReadingDocument] | None = None
) -> Judgement:
    """Return what is known before anything is held against a limit; without a reason it is to be held."""
    return Judgement(
        outcome=Outcome.UNDETERMINED,
        reason=reason,
        detail="; ".join(why for one in found if (why := one.why_missing)),
        readings=tuple((read or reading_of)(own) for one in found for own in one.measurements),
        void=void_documents([item for one in found for item in one.void]),
    )


def reading_of(measurement: Measurement, value: str | None = None) -> ReadingDocument:
    """Write down a measurement with what it says, if that is a number."""
    reading: ReadingDocument = {"record": measurement.stamp.id, "direction": DIRECTION[measurement.is_forward]}
    if value is not None:
        reading["value"] = value
    return reading


def _is_own(fibre: FibreUnderTest, one: Measurement) -> bool:
    if (one.low_index, one.high_index) != (0, len(fibre.layout.design.sites) - 1):
        return False
    # Where another fibre was lit and this one seen, this one was not tested.
    return not isinstance(one, Continuity) or one.lit_fibre == fibre.number


def _by_one_value(
    fibre: FibreUnderTest, own: Sequence[Measurement], *, test: Test, wavelength_nm: int | None, is_forward: bool
) -> EndToEndTest:
    good, void = split_by_fault(own, fibre.counting.fault_of)
    good, unsealed = split_by_fault(good, fibre.counting.fault_over)
    good, impossible = split_by_fault(good, lambda one: _fault_of_value(fibre, one))
    void += unsealed + impossible
    if good and not latest_is_proven([one.stamp for one in good]):
        void += [(one, Reason.ORDER_NOT_PROVEN) for one in good]
        good = []
    return EndToEndTest(
        test=test,
        wavelength_nm=wavelength_nm,
        is_forward=is_forward,
        missing=None if good else reason_of(void),
        measurements=tuple(good[-1:]),
        void=tuple(void),
    )


def _fault_of_value(fibre: FibreUnderTest, one: Measurement) -> Reason | None:
    is_impossible = isinstance(one, LinkLoss) and fibre.is_below_fibre_alone(one)
    return Reason.BELOW_FIBRE_ALONE if is_impossible else None


def _by_traces(fibre: FibreUnderTest, *, wavelength_nm: int, is_forward: bool) -> EndToEndTest:
    trace_set = fibre.trace_set(wavelength_nm=wavelength_nm, is_forward=is_forward)
    good, unsealed = split_by_fault(trace_set.traces, fibre.counting.fault_over)
    full, short = split_by_fault(good, lambda trace: fibre.placed(trace).shortfall)
    void = (*trace_set.void, *unsealed)
    is_there = _joins_up(full, last_index=len(fibre.layout.design.sites) - 1)
    missing = None if is_there else short[0][1] if short else reason_of(void)
    return EndToEndTest(
        test="otdr",
        wavelength_nm=wavelength_nm,
        is_forward=is_forward,
        missing=missing,
        measurements=tuple(full),
        void=void if is_there else (*void, *short),
    )


def _joins_up(traces: Sequence[Trace], *, last_index: int) -> bool:
    reached = 0
    for trace in sorted(traces, key=lambda trace: trace.low_index):
        if trace.low_index <= reached:
            reached = max(reached, trace.high_index)
    return reached == last_index
