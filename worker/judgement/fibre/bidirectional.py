"""The loss of a place from both directions: an exact mean, or bounds where a direction shows nothing."""

from typing import NamedTuple

from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.words import Reason
from worker.judgement.numbers.exact import mdb_text, mean_tenth_mdb
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import OneWayLoss
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, REASON_LABELS


class BidirectionalLoss(NamedTuple):
    """The mean of both directions lies between the bounds, or cannot be said for a reason."""

    reason: Reason | None
    low_tenth_mdb: int
    high_tenth_mdb: int
    detail: str
    readings: tuple[RecordReading, ...]
    void: tuple[VoidRecord, ...]


def combine(place: Place, forward: OneWayLoss, backward: OneWayLoss, *, below_zero_tenth_mdb: int) -> BidirectionalLoss:
    """Return the loss of a place from both directions; a mean may be so far below zero, and no farther."""
    reason, low, high = _reason(place, forward, backward), 0, 0
    if reason is None:
        one, other = forward.readings[0], backward.readings[0]
        low = mean_tenth_mdb(first_mdb=one.low_mdb, second_mdb=other.low_mdb)
        high = mean_tenth_mdb(first_mdb=one.high_mdb, second_mdb=other.high_mdb)
        if high < -below_zero_tenth_mdb:
            reason = Reason.BELOW_ZERO
    return BidirectionalLoss(
        reason=reason,
        low_tenth_mdb=low,
        high_tenth_mdb=high,
        detail=_mean_detail(forward, backward) if reason is None else missing_detail(reason, forward, backward),
        readings=record_readings(forward, backward),
        void=forward.void + backward.void,
    )


def missing_reason(forward: Reason | None, backward: Reason | None) -> Reason | None:
    """Return why the two directions together cannot be said, from why each cannot."""
    reasons = (forward, backward)
    if reasons == (None, None):
        return None
    told = [reason for reason in reasons if reason not in {None, Reason.NO_EVIDENCE}]
    if told:
        return told[0]
    return Reason.ONE_DIRECTION_ONLY if None in reasons else Reason.NO_EVIDENCE


def missing_detail(reason: Reason, forward: OneWayLoss, backward: OneWayLoss) -> str:
    """Say why a loss cannot be told from both directions."""
    if reason is Reason.CORDS_CHANGED:
        return "the cord at this end was another one for the other direction"
    if reason is Reason.BELOW_ZERO:
        return f"{_mean_detail(forward, backward)}: {REASON_LABELS[reason]}"
    said = [_missing_said(loss) for loss in (forward, backward)]
    if said[0] == said[1]:
        return f"both directions: {said[0]}"
    named = zip((True, False), said, (forward, backward), strict=True)
    return "; ".join(
        f"{DIRECTION_LABELS[is_forward]}: {text}" for is_forward, text, loss in named if loss.reason is not None
    )


def record_readings(forward: OneWayLoss, backward: OneWayLoss) -> tuple[RecordReading, ...]:
    """Return what the records of both directions say."""
    return tuple([_reading_of(reading) for reading in (*forward.readings, *backward.readings)])


def spoken(reading: Reading) -> str:
    """Return the words for what a trace shows."""
    text = mdb_text(reading.high_mdb)
    return f"{text} dB" if reading.events else f"a loss not seen, within {text} dB of zero"


def _reason(place: Place, forward: OneWayLoss, backward: OneWayLoss) -> Reason | None:
    if forward.reason is None and backward.reason is None:
        return Reason.CORDS_CHANGED if place.is_end and _cords_changed(place, forward, backward) else None
    return missing_reason(forward.reason, backward.reason)


def _cords_changed(place: Place, forward: OneWayLoss, backward: OneWayLoss) -> bool:
    there, back = forward.readings[0].trace, backward.readings[0].trace
    is_near_a = place.site_index == there.low_index
    one = there.launch if is_near_a else there.receive
    other = back.receive if is_near_a else back.launch
    return one is None or other is None or one.serial != other.serial


def _mean_detail(forward: OneWayLoss, backward: OneWayLoss) -> str:
    one, other = spoken(forward.readings[0]), spoken(backward.readings[0])
    return f"mean of {one} ({DIRECTION_LABELS[True]}) and {other} ({DIRECTION_LABELS[False]})"


def _missing_said(loss: OneWayLoss) -> str:
    if loss.reason is None:
        return ""
    contradicting = f" ({' or '.join(map(spoken, loss.readings))})" if loss.readings else ""
    return f"{REASON_LABELS[loss.reason]}{contradicting}"


def _reading_of(reading: Reading) -> RecordReading:
    trace, events = reading.trace, reading.events
    record, direction = trace.stamp.id, DIRECTION[trace.is_forward]
    if not events:
        return RecordReading(record, direction, within=reading.high_mdb)
    # What the event loses in all: where joints share it, one alone may lose less, down to nothing.
    return RecordReading(record, direction, value=reading.high_mdb, distance_um=events[0].at_um)
