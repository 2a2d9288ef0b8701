"""The spots of a fibre where traces show a loss and the design has no joint: bends and damage."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from service.vocabulary.findings.finding import ReadingDocument, UnexpectedEventDocument
from worker.judgement.fibre.fibre_under_test import FibreUnderTest
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import last_place, metres_to_um
from worker.judgement.words import DIRECTION


class Side(NamedTuple):
    """From where, and at which wavelength, a spot is seen."""

    wavelength_nm: int
    is_forward: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class StraySpot:
    """One spot and the event that each side has there, by the shortest pulse that shows it."""

    from_a_um: int
    events: Mapping[Side, UnexpectedEventDocument]

    @property
    def from_a_m(self) -> str:
        """Where it lies, in metres of fibre from A, by the first of its events."""
        return next(iter(self.events.values()))["from_a_m"]

    def loss_mdb(self, side: Side) -> int | None:
        """Return the loss that one side shows; none where it shows nothing."""
        event = self.events.get(side)
        return None if event is None else last_place(event["loss_db"])


@dataclass(kw_only=True, slots=True)
class _Cluster:
    from_a_um: int
    events: list[UnexpectedEventDocument] = field(default_factory=list)

    def takes(self, event: UnexpectedEventDocument, *, at_um: int, tolerance_um: int) -> bool:
        """Tell whether an event may be the same spot; two events of one trace are two spots."""
        is_near = abs(at_um - self.from_a_um) <= tolerance_um
        return is_near and all(event["record"] != other["record"] for other in self.events)


def stray_spots(fibre: FibreUnderTest, *, wavelengths_nm: Iterable[int]) -> list[StraySpot]:
    """Return the spots at some wavelengths by the traces that count from end to end, in order from A.

    What lies in the cords is none of the fibre's.
    """
    traces = {trace.stamp.id: trace for trace in _final_traces(fibre, wavelengths_nm)}
    clusters: list[_Cluster] = []
    for event in fibre.unexpected_events() if traces else ():
        trace = traces.get(event["record"])
        if trace is None or "loss_db" not in event:
            continue
        at_um, tolerance_um = metres_to_um(event["from_a_m"]), fibre.ruler(trace).tolerance_um
        if not -tolerance_um <= at_um <= fibre.length_um + tolerance_um:
            continue
        taking = (one for one in clusters if one.takes(event, at_um=at_um, tolerance_um=tolerance_um))
        cluster = next(taking, None)
        if cluster is None:
            cluster = _Cluster(from_a_um=at_um)
            clusters.append(cluster)
        cluster.events.append(event)
    return [_spot(cluster, traces) for cluster in clusters]


def section_at(fibre: FibreUnderTest, spot: StraySpot) -> int:
    """Return the index of the section in which a spot lies."""
    last = len(fibre.layout.design.sections) - 1
    return min(max(bisect_right(fibre.layout.site_offsets_um, spot.from_a_um) - 1, 0), last)


def stray_reading(event: UnexpectedEventDocument) -> ReadingDocument:
    """Write down what one trace shows at a spot."""
    return {
        "record": event["record"],
        "direction": event["direction"],
        "wavelength_nm": event["wavelength_nm"],
        "value": event["loss_db"],
    }


def _final_traces(fibre: FibreUnderTest, wavelengths_nm: Iterable[int]) -> Iterator[Trace]:
    for nm in wavelengths_nm:
        for is_forward in (True, False):
            for trace in fibre.trace_set(wavelength_nm=nm, is_forward=is_forward).traces:
                if fibre.counting.fault_over(trace) is None:
                    yield trace


def _spot(cluster: _Cluster, traces: Mapping[str, Trace]) -> StraySpot:
    events: dict[Side, UnexpectedEventDocument] = {}
    for event in sorted(cluster.events, key=lambda event: traces[event["record"]].pulse_ns):
        side = Side(event["wavelength_nm"], event["direction"] == DIRECTION[True])
        events.setdefault(side, event)
    return StraySpot(from_a_um=cluster.from_a_um, events=events)
