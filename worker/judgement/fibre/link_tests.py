"""Whether a test from end to end is there in one direction: by one measurement, or by spans that join up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from service.vocabulary.criteria.required_tests import Test
from service.vocabulary.words import Reason, RecordKind
from worker.judgement.fibre.prepared import Prepared
from worker.judgement.history.acts import Continuity, History, Link, LinkLoss, Measurement, Trace
from worker.judgement.history.trace_sets import Side
from worker.judgement.history.validity import reason_of, split_by_fault
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.traces.readings import FibreTraces
from worker.judgement.words import DIRECTION_LABELS, REASON_LABELS, TEST_LABELS, at_wavelength


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
        named = f"no {TEST_LABELS[self.test]} {DIRECTION_LABELS[self.is_forward]}{at_wavelength(self.wavelength_nm)}"
        if self.missing is None:
            return ""
        return named if self.missing is Reason.NO_EVIDENCE else f"{named} that counts: {REASON_LABELS[self.missing]}"


def find_by_traces(prepared: Prepared, traces: FibreTraces, side: Side) -> EndToEndTest:
    """Return whether one side has traces over the whole fibre that count."""
    trace_set = traces.of_side(side)
    good, unsealed = split_by_fault(trace_set.traces, traces.validity.fault_over)
    full, short = split_by_fault(good, lambda trace: traces.alignment.of(trace).shortfall)
    void = (*trace_set.void, *unsealed)
    is_there = _joins_up(full, last_index=prepared.last_index)
    missing = None if is_there else short[0][1] if short else reason_of(void)
    return EndToEndTest(
        test="otdr",
        wavelength_nm=side.wavelength_nm,
        is_forward=side.is_forward,
        missing=missing,
        measurements=tuple(full),
        void=void if is_there else (*void, *short),
    )


def find_by_one_value(
    prepared: Prepared,
    traces: FibreTraces,
    history: History,
    *,
    fibre: int,
    test: Test,
    wavelength_nm: int | None,
    is_forward: bool,
    is_wanted: Callable[[Measurement], bool] = lambda _: True,
) -> EndToEndTest:
    """Return whether one direction has a test of one value that counts: the latest."""
    own = [
        one
        for one in history.links.get(RecordKind(test), ())
        if one.wavelength_nm == wavelength_nm
        and one.is_forward is is_forward
        and _is_of_whole(prepared, one, fibre=fibre)
        and is_wanted(one)
    ]
    good, void = split_by_fault(own, traces.validity.fault_of)
    good, unsealed = split_by_fault(good, traces.validity.fault_over)
    good, impossible = split_by_fault(good, lambda one: _fault_of_value(prepared, one))
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


def _is_of_whole(prepared: Prepared, one: Link, *, fibre: int) -> bool:
    if (one.low_index, one.high_index) != (0, prepared.last_index):
        return False
    # Where another fibre was lit and this one seen, this one was not tested.
    return not isinstance(one, Continuity) or one.lit_fibre == fibre


def _fault_of_value(prepared: Prepared, one: Link) -> Reason | None:
    is_impossible = isinstance(one, LinkLoss) and prepared.is_below_fibre_alone(one)
    return Reason.BELOW_FIBRE_ALONE if is_impossible else None


def _joins_up(traces: Sequence[Trace], *, last_index: int) -> bool:
    reached = 0
    for trace in sorted(traces, key=lambda trace: trace.low_index):
        if trace.low_index <= reached:
            reached = max(reached, trace.high_index)
    return reached == last_index
