"""The spots of a fibre where traces show a loss and the design has no joint, bends and damage, and what they lose."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.quantities import metres_text
from worker.judgement.fibre.bidirectional import BidirectionalLoss, missing_reason
from worker.judgement.fibre.link_tests import EndToEndTest, both_ways
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.history.validity import Side, void_records
from worker.judgement.numbers.exact import mean_tenth_mdb
from worker.judgement.traces.readings import UnexpectedEvent
from worker.judgement.words import DIRECTION, REASON_LABELS


@dataclass(frozen=True, kw_only=True, slots=True)
class UnexpectedSpot:
    """One spot and the event that each side has there, by the shortest pulse that shows it."""

    from_a_um: int
    events: Mapping[Side, UnexpectedEvent]

    @property
    def from_a_m(self) -> str:
        """Where it lies, in metres of fibre from A, by the first of its events."""
        return metres_text(next(iter(self.events.values())).from_a_um)

    def loss_mdb(self, side: Side) -> int | None:
        """Return the loss that one side shows; none where it shows nothing."""
        event = self.events.get(side)
        return None if event is None else event.loss_mdb


def unexpected_spots(fibre: FibreMeasured, *, wavelengths_nm: Iterable[int]) -> list[UnexpectedSpot]:
    """Return the spots at some wavelengths by the traces that count from end to end, in order from A.

    What lies in the cords is none of the fibre's.
    """
    records = {trace.stamp.id for trace in _final_traces(fibre, wavelengths_nm)} if fibre.unexpected else set()
    clusters: list[list[UnexpectedEvent]] = []
    for event in fibre.unexpected:
        if event.record not in records or event.loss_mdb is None:
            continue
        tolerance_um = fibre.aligned(event.trace).scale.tolerance_um
        if not -tolerance_um <= event.at_um <= fibre.length_um + tolerance_um:
            continue
        for own in clusters:
            # Two events of one trace are two spots.
            is_near = abs(event.at_um - own[0].at_um) <= tolerance_um
            if is_near and all(event.record != other.record for other in own):
                own.append(event)
                break
        else:
            clusters.append([event])
    return [_spot(own) for own in clusters]


def unexpected_loss(fibre: FibreMeasured, spot: UnexpectedSpot, *, wavelength_nm: int) -> BidirectionalLoss:
    """Return the loss of a spot, where traces from both ends run over it.

    One that a direction does not show there is within the threshold of its sharpest trace.
    """
    tests = both_ways(fibre, test="otdr", wavelength_nm=wavelength_nm)
    reason = missing_reason(*(test.missing for test in tests))
    void = void_records([item for test in tests for item in test.void])
    if reason is not None:
        return BidirectionalLoss(reason, 0, 0, REASON_LABELS[reason], (), void)
    (one_low, one_high, one), (other_low, other_high, other) = (
        _shown(fibre, spot, Side(wavelength_nm, test.is_forward), test) for test in tests
    )
    low = mean_tenth_mdb(first_mdb=one_low, second_mdb=other_low)
    high = mean_tenth_mdb(first_mdb=one_high, second_mdb=other_high)
    return BidirectionalLoss(None, low, high, "", (one, other), void)


def section_at(fibre: FibreMeasured, spot: UnexpectedSpot) -> int:
    """Return the index of the section in which a spot lies."""
    last = len(fibre.layout.design.sections) - 1
    return min(max(bisect_right(fibre.layout.site_offsets_um, spot.from_a_um) - 1, 0), last)


def reading_of_event(event: UnexpectedEvent) -> RecordReading:
    """Return what one trace shows at a spot."""
    nm, is_forward = event.side
    return RecordReading(event.record, DIRECTION[is_forward], nm, event.loss_mdb)


def _final_traces(fibre: FibreMeasured, wavelengths_nm: Iterable[int]) -> Iterator[Trace]:
    for nm in wavelengths_nm:
        for is_forward in (True, False):
            for trace in fibre.traces.of_side(Side(nm, is_forward)).traces:
                if fibre.validity.fault_over(trace) is None:
                    yield trace


def _spot(own: Sequence[UnexpectedEvent]) -> UnexpectedSpot:
    events: dict[Side, UnexpectedEvent] = {}
    for event in sorted(own, key=lambda event: event.trace.pulse_ns):
        events.setdefault(event.side, event)
    return UnexpectedSpot(from_a_um=own[0].at_um, events=events)


def _shown(
    fibre: FibreMeasured, spot: UnexpectedSpot, side: Side, test: EndToEndTest
) -> tuple[int, int, RecordReading]:
    loss_mdb = spot.loss_mdb(side)
    if loss_mdb is not None:
        return loss_mdb, loss_mdb, reading_of_event(spot.events[side])
    offsets_um, at_um = fibre.layout.site_offsets_um, min(max(spot.from_a_um, 0), fibre.length_um)
    over = [
        trace
        for trace in test.measurements
        if isinstance(trace, Trace) and offsets_um[trace.low_index] <= at_um <= offsets_um[trace.high_index]
    ]
    sharpest = min(over, key=lambda trace: (trace.threshold_mdb, trace.stamp))
    within = sharpest.threshold_mdb
    reading = RecordReading(sharpest.stamp.id, DIRECTION[side.is_forward], side.wavelength_nm, within=within)
    return -within, within, reading
