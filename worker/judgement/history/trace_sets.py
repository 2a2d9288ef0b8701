"""Which traces of a fibre count somewhere, by wavelength and direction."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from service.vocabulary.design.layout import Layout
from service.vocabulary.words import Reason
from worker.judgement.history.acts import History, Trace
from worker.judgement.history.validity import Validity, split_by_fault
from worker.judgement.numbers.clocks import latest_is_proven


class Side(NamedTuple):
    """From which end, and at which wavelength, a fibre is seen."""

    wavelength_nm: int
    is_forward: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceSet:
    """The traces of one direction and wavelength: the latest of each pulse, the shortest first, and the void ones.

    `sole` is the one that says all there is to say between the terminals, as on nearly every finished fibre.
    """

    traces: tuple[Trace, ...]
    void: tuple[tuple[Trace, Reason], ...]
    sole: Trace | None


NO_TRACES = TraceSet(traces=(), void=(), sole=None)


def sort_traces(layout: Layout, history: History, validity: Validity) -> Mapping[Side, TraceSet]:
    """Return the traces of each side that there are any of, by wavelength, A to B first."""
    by_side: dict[Side, list[Trace]] = defaultdict(list)
    for trace in history.traces:
        by_side[Side(trace.wavelength_nm, trace.is_forward)].append(trace)
    in_order = sorted(by_side, key=lambda side: (side.wavelength_nm, not side.is_forward))
    return {side: _sort_out(layout, validity, by_side[side]) for side in in_order}


def valid_traces(trace_sets: Mapping[Side, TraceSet]) -> tuple[Trace, ...]:
    """Return the traces that count somewhere."""
    return tuple([trace for trace_set in trace_sets.values() for trace in trace_set.traces])


def longest_pulse_ns(trace_sets: Mapping[Side, TraceSet]) -> int:
    """Return the pulse that sees the least apart among those that each side has at its best."""
    return max((one.traces[0].pulse_ns for one in trace_sets.values() if one.traces), default=0)


def _sort_out(layout: Layout, validity: Validity, own: Sequence[Trace]) -> TraceSet:
    valid, void = split_by_fault(own, validity.fault_of)
    latest: list[Trace] = []
    for group in _groups(valid):
        if latest_is_proven([trace.stamp for trace in group]):
            latest.append(group[-1])
        else:
            void.append((group[-1], Reason.ORDER_NOT_PROVEN))
    # A shorter pulse tells joints apart that a longer one takes together, so it is asked first; of two the later.
    latest.sort(key=lambda trace: trace.stamp.key, reverse=True)
    latest.sort(key=lambda trace: trace.pulse_ns)
    sole = latest[0] if len(latest) == 1 and not void and _says_all(layout, validity, latest[0]) else None
    return TraceSet(traces=tuple(latest), void=tuple(void), sole=sole)


def _groups(traces: Sequence[Trace]) -> Iterator[list[Trace]]:
    """Give the traces that replace each other: the same pulse between the same ends."""
    groups: dict[tuple[int, int, int], list[Trace]] = defaultdict(list)
    for trace in traces:
        groups[trace.pulse_ns, trace.low_index, trace.high_index].append(trace)
    yield from groups.values()


def _says_all(layout: Layout, validity: Validity, trace: Trace) -> bool:
    covers_all = trace.low_index == 0 and trace.high_index == len(layout.design.sites) - 1
    return covers_all and validity.is_plainly_final(trace)
