"""The events of a fibre's traces that lie on no place: bends, damage, or a design that is not what was built."""

from typing import NamedTuple

from service.vocabulary.quantities import UM_PER_CM, round_half_even
from worker.judgement.history.acts import Trace
from worker.judgement.history.trace_sets import Side
from worker.judgement.traces.readings import FibreTraces


class UnexpectedEvent(NamedTuple):
    """An event on no place, with the loss that it shows, if it states one."""

    from_a_um: int
    trace: Trace
    loss_mdb: int | None

    @property
    def at_um(self) -> int:
        """How far from A it lies as it is written, to the centimetre."""
        return round_half_even(self.from_a_um, unit=UM_PER_CM) * UM_PER_CM

    @property
    def record(self) -> str:
        """The record of its trace."""
        return self.trace.stamp.id

    @property
    def side(self) -> Side:
        """From where it is seen."""
        return Side(self.trace.wavelength_nm, self.trace.is_forward)


def unexpected_events(traces: FibreTraces) -> tuple[UnexpectedEvent, ...]:
    """Return the events of all valid traces that lie on no place, in order from A."""
    found = [
        UnexpectedEvent(aligned.scale.from_a_um(event.at_um), trace, event.loss_mdb)
        for trace in traces.valid
        if (aligned := traces.alignment.of(trace)).unexpected
        for event in aligned.unexpected
    ]
    return tuple(sorted(found, key=_in_order))


def _in_order(event: UnexpectedEvent) -> tuple[int, int, bool, str]:
    return event.at_um, event.trace.wavelength_nm, not event.trace.is_forward, event.record
