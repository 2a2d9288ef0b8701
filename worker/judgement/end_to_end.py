"""Whether a test from end to end is there in one direction: by one measurement, or by spans that join up."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service.vocabulary.words import Reason
from worker.judgement.clocks import latest_is_proven
from worker.judgement.counting import split_by_fault
from worker.judgement.fibre_under_test import FibreUnderTest, reason_of
from worker.judgement.history import LinkLoss, Measurement, Trace

Test = Literal["otdr", "attenuation"]


@dataclass(frozen=True, kw_only=True, slots=True)
class EndToEndTest:
    """One direction's test of the whole fibre: by which measurements, or why there is none, and those set aside."""

    missing: Reason | None
    measurements: tuple[Measurement, ...]
    void: tuple[tuple[Measurement, Reason], ...]


def end_to_end_test(fibre: FibreUnderTest, *, test: Test, wavelength_nm: int, is_forward: bool) -> EndToEndTest:
    """Return what one direction has of a test from end to end."""
    if test == "otdr":
        return _by_traces(fibre, wavelength_nm=wavelength_nm, is_forward=is_forward)
    return _by_loss(fibre, wavelength_nm=wavelength_nm, is_forward=is_forward)


def _by_loss(fibre: FibreUnderTest, *, wavelength_nm: int, is_forward: bool) -> EndToEndTest:
    ends = (0, len(fibre.layout.design.sites) - 1)
    own = [
        loss
        for loss in fibre.history.link_losses
        if loss.wavelength_nm == wavelength_nm
        and loss.is_forward is is_forward
        and (loss.low_index, loss.high_index) == ends
    ]
    good, void = split_by_fault(own, fibre.counting.fault_of)
    good, unsealed = split_by_fault(good, fibre.counting.fault_over)
    good, impossible = split_by_fault(good, lambda loss: _fault_of_value(fibre, loss))
    void += unsealed + impossible
    if good and not latest_is_proven([loss.stamp for loss in good]):
        void += [(loss, Reason.ORDER_NOT_PROVEN) for loss in good]
        good = []
    return EndToEndTest(missing=None if good else reason_of(void), measurements=tuple(good[-1:]), void=tuple(void))


def _fault_of_value(fibre: FibreUnderTest, loss: LinkLoss) -> Reason | None:
    return Reason.BELOW_FIBRE_ALONE if fibre.is_below_fibre_alone(loss) else None


def _by_traces(fibre: FibreUnderTest, *, wavelength_nm: int, is_forward: bool) -> EndToEndTest:
    trace_set = fibre.trace_set(wavelength_nm=wavelength_nm, is_forward=is_forward)
    good, unsealed = split_by_fault(trace_set.traces, fibre.counting.fault_over)
    full, short = split_by_fault(good, lambda trace: fibre.placed(trace).shortfall)
    void = (*trace_set.void, *unsealed)
    if _joins_up(full, last_index=len(fibre.layout.design.sites) - 1):
        return EndToEndTest(missing=None, measurements=tuple(full), void=void)
    missing = short[0][1] if short else reason_of(void)
    return EndToEndTest(missing=missing, measurements=tuple(full), void=(*void, *short))


def _joins_up(traces: Sequence[Trace], *, last_index: int) -> bool:
    reached = 0
    for trace in sorted(traces, key=lambda trace: trace.low_index):
        if trace.low_index <= reached:
            reached = max(reached, trace.high_index)
    return reached == last_index
