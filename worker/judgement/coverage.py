"""Whether a test from end to end is there in one direction: by one measurement, or by spans that join up."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service.vocabulary.words import Reason
from worker.judgement.case import Case, reason_of
from worker.judgement.clocks import latest_is_proven
from worker.judgement.counting import split_by_fault
from worker.judgement.history import LinkLoss, Measurement, Trace


@dataclass(frozen=True, kw_only=True, slots=True)
class Cover:
    """One direction's measurements that cover the link, or why they do not, and those that do not count."""

    missing: Reason | None
    measurements: tuple[Measurement, ...]
    void: tuple[tuple[Measurement, Reason], ...]


def cover(case: Case, *, test: Literal["otdr", "attenuation"], wavelength_nm: int, is_forward: bool) -> Cover:
    """Tell whether a direction's tests cover the fibre from end to end."""
    if test == "otdr":
        return _cover_by_traces(case, wavelength_nm=wavelength_nm, is_forward=is_forward)
    return _cover_by_loss(case, wavelength_nm=wavelength_nm, is_forward=is_forward)


def _cover_by_loss(case: Case, *, wavelength_nm: int, is_forward: bool) -> Cover:
    ends = (0, len(case.layout.design.sites) - 1)
    own = [
        loss
        for loss in case.history.link_losses
        if loss.wavelength_nm == wavelength_nm
        and loss.is_forward is is_forward
        and (loss.low_index, loss.high_index) == ends
    ]
    good, void = split_by_fault(own, case.counting.fault_of)
    good, unsealed = split_by_fault(good, case.counting.fault_over)
    good, impossible = split_by_fault(good, lambda loss: _fault_of_value(case, loss))
    void += unsealed + impossible
    if good and not latest_is_proven([loss.stamp for loss in good]):
        void += [(loss, Reason.ORDER_NOT_PROVEN) for loss in good]
        good = []
    return Cover(missing=None if good else reason_of(void), measurements=tuple(good[-1:]), void=tuple(void))


def _fault_of_value(case: Case, loss: LinkLoss) -> Reason | None:
    return Reason.BELOW_FIBRE_ALONE if case.is_below_fibre_alone(loss) else None


def _cover_by_traces(case: Case, *, wavelength_nm: int, is_forward: bool) -> Cover:
    subject = case.subject(wavelength_nm=wavelength_nm, is_forward=is_forward)
    good, unsealed = split_by_fault(subject.traces, case.counting.fault_over)
    full, short = split_by_fault(good, lambda trace: case.placed(trace).shortfall)
    void = (*subject.void, *unsealed)
    if _joins_up(full, last_index=len(case.layout.design.sites) - 1):
        return Cover(missing=None, measurements=tuple(full), void=void)
    return Cover(missing=short[0][1] if short else reason_of(void), measurements=tuple(full), void=void)


def _joins_up(traces: Sequence[Trace], *, last_index: int) -> bool:
    reached = 0
    for trace in sorted(traces, key=lambda trace: trace.low_index):
        if trace.low_index <= reached:
            reached = max(reached, trace.high_index)
    return reached == last_index
