"""The loss of a spot on no joint from both directions: one that a direction does not show is within its threshold."""

from service.vocabulary.findings.finding import ReadingDocument
from worker.judgement.fibre.bidirectional import BidirectionalLoss, missing_reason
from worker.judgement.fibre.end_to_end import EndToEndTest, end_to_end_test
from worker.judgement.fibre.fibre_under_test import FibreUnderTest, void_documents
from worker.judgement.fibre.unexpected_events import Side, StraySpot, stray_reading
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import mdb_text, mean_tenth_mdb
from worker.judgement.words import DIRECTION, REASON_SPOKEN


def stray_loss(fibre: FibreUnderTest, spot: StraySpot, *, wavelength_nm: int) -> BidirectionalLoss:
    """Return the loss of a spot, where traces from both ends run over it."""
    tests = [
        (is_forward, end_to_end_test(fibre, test="otdr", wavelength_nm=wavelength_nm, is_forward=is_forward))
        for is_forward in (True, False)
    ]
    reason = missing_reason(*(test.missing for _, test in tests))
    low = high = 0
    readings: list[ReadingDocument] = []
    if reason is None:
        shown = [_shown(fibre, spot, Side(wavelength_nm, is_forward), test) for is_forward, test in tests]
        (one_low, one_high, one), (other_low, other_high, other) = shown
        low = mean_tenth_mdb(first_mdb=one_low, second_mdb=other_low)
        high = mean_tenth_mdb(first_mdb=one_high, second_mdb=other_high)
        readings = [one, other]
    return BidirectionalLoss(
        reason=reason,
        low_tenth_mdb=low,
        high_tenth_mdb=high,
        detail="" if reason is None else REASON_SPOKEN[reason],
        readings=tuple(readings),
        void=void_documents([item for _, test in tests for item in test.void]),
    )


def _shown(fibre: FibreUnderTest, spot: StraySpot, side: Side, test: EndToEndTest) -> tuple[int, int, ReadingDocument]:
    loss_mdb = spot.loss_mdb(side)
    if loss_mdb is not None:
        return loss_mdb, loss_mdb, stray_reading(spot.events[side])
    offsets_um, at_um = fibre.layout.site_offsets_um, min(max(spot.from_a_um, 0), fibre.length_um)
    over = [
        trace
        for trace in test.measurements
        if isinstance(trace, Trace) and offsets_um[trace.low_index] <= at_um <= offsets_um[trace.high_index]
    ]
    sharpest = min(over, key=lambda trace: (trace.threshold_mdb, trace.stamp.key))
    within = sharpest.threshold_mdb
    reading: ReadingDocument = {
        "record": sharpest.stamp.id,
        "direction": DIRECTION[side.is_forward],
        "wavelength_nm": side.wavelength_nm,
        "within": mdb_text(within),
    }
    return -within, within, reading
