"""The loss of a place from both directions: their exact mean, the worse of them, or bounds of either."""

from typing import NamedTuple

from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import TENTHS_PER_MDB, mdb_text
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import OneWayLoss
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, REASON_LABELS

# 0.001 dB each in 0.0001 dB.
_HALF_IN_TENTHS = TENTHS_PER_MDB // 2
_A_TO_B, _B_TO_A = DIRECTION[True], DIRECTION[False]
# There is a reading, and it cannot be told which; that the other direction is good says nothing of it.
_CONTRADICTORY = {Reason.AMBIGUOUS_EVENT, Reason.READINGS_DISAGREE, Reason.LOSS_NOT_STATED}


class BidirectionalLoss(NamedTuple):
    """The mean of both directions lies between the bounds, or cannot be said for a reason."""

    reason: Reason | None
    low_tenth_mdb: int
    high_tenth_mdb: int
    detail: str
    readings: tuple[RecordReading, ...]
    void: tuple[VoidRecord, ...]

    @property
    def bounds_tenth_mdb(self) -> tuple[int, int] | None:
        """The bounds, if it can be said."""
        return (self.low_tenth_mdb, self.high_tenth_mdb) if self.reason is None else None


class WorseDirection(NamedTuple):
    """The worse of the directions there are lies between the bounds; `reason` says why it may be worse still.

    `bounds_tenth_mdb` are missing where no direction shows anything.
    """

    reason: Reason | None
    bounds_tenth_mdb: tuple[int, int] | None
    detail: str
    readings: tuple[RecordReading, ...]
    void: tuple[VoidRecord, ...]


def combine(place: Place, forward: OneWayLoss, backward: OneWayLoss, below_zero_tenth_mdb: int) -> BidirectionalLoss:
    """Return the loss of a place from both directions; a mean may be so far below zero, and no farther."""
    if forward.reason is not None or backward.reason is not None:
        return _missing(missing_reason(forward.reason, backward.reason), forward, backward)
    one, other = forward.readings[0], backward.readings[0]
    if place.is_end and cords_changed(place.site_index, one.trace, other.trace):
        return _missing(Reason.CORDS_CHANGED, forward, backward)
    low, high = (one.low_mdb + other.low_mdb) * _HALF_IN_TENTHS, (one.high_mdb + other.high_mdb) * _HALF_IN_TENTHS
    if high < -below_zero_tenth_mdb:
        return _missing(Reason.BELOW_ZERO, forward, backward)
    void = forward.void + backward.void if forward.void or backward.void else ()
    if len(one.events) == 1 and len(other.events) == 1 and not (one.beside or other.beside):
        # As at nearly every place of a route.
        there, back = one.events[0], other.events[0]
        there_mdb, back_mdb = there.loss_mdb or 0, back.loss_mdb or 0
        detail = f"mean of {mdb_text(there_mdb)} dB (A to B) and {mdb_text(back_mdb)} dB (B to A)"
        readings = (
            RecordReading(one.trace.stamp.id, _A_TO_B, None, there_mdb, None, 3, there.at_m),
            RecordReading(other.trace.stamp.id, _B_TO_A, None, back_mdb, None, 3, back.at_m),
        )
        return BidirectionalLoss(None, low, high, detail, readings, void)
    readings = _record_reading(one), _record_reading(other)
    return BidirectionalLoss(None, low, high, _mean_detail(one, other), readings, void)


def worse_of_any(forward: OneWayLoss, backward: OneWayLoss) -> WorseDirection:
    """Return the worse direction of those that show the place; one is enough."""
    told = (forward.reason, backward.reason)
    contradictory = next((reason for reason in told if reason in _CONTRADICTORY), None)
    return _worse(forward, backward, contradictory if None in told else missing_reason(*told))


def worse_of_both(forward: OneWayLoss, backward: OneWayLoss) -> WorseDirection:
    """Return the worse direction of the two that have to show the place."""
    return _worse(forward, backward, missing_reason(forward.reason, backward.reason))


def from_one_end(loss: OneWayLoss, *, is_forward: bool) -> WorseDirection:
    """Return what one direction reads of the place, which is not the loss of what lies there."""
    if loss.reason is None:
        reading = loss.readings[0]
        bounds = reading.low_mdb * TENTHS_PER_MDB, reading.high_mdb * TENTHS_PER_MDB
        detail = _one_way_said(reading)
    else:
        bounds, detail = None, f"{DIRECTION_LABELS[is_forward]}: {_missing_said(loss)}"
    readings = tuple(map(_record_reading, loss.readings))
    return WorseDirection(loss.reason, bounds, detail, readings, loss.void)


def missing_reason(*reasons: Reason | None) -> Reason | None:
    """Return why the directions together cannot be said, from why each cannot."""
    missing = [reason for reason in reasons if reason is not None]
    told = next((reason for reason in missing if reason is not Reason.NO_EVIDENCE), None)
    if told is not None or not missing:
        return told
    return Reason.ONE_DIRECTION_ONLY if None in reasons else Reason.NO_EVIDENCE


def cords_changed(site_index: int, there: Trace, back: Trace) -> bool:
    """Tell whether another cord lay at one of a fibre's ends for each direction, or none for one of them."""
    is_near_a = site_index == there.low_index
    one = there.launch if is_near_a else there.receive
    other = back.receive if is_near_a else back.launch
    return one is None or other is None or one.serial != other.serial


def _worse(forward: OneWayLoss, backward: OneWayLoss, reason: Reason | None) -> WorseDirection:
    there = [one.readings[0] for one in (forward, backward) if one.reason is None]
    details: list[str] = []
    bounds = None
    if there:
        low_mdb, high_mdb = max(one.low_mdb for one in there), max(one.high_mdb for one in there)
        bounds = low_mdb * TENTHS_PER_MDB, high_mdb * TENTHS_PER_MDB
        said = " and ".join(f"{_said(one)} ({DIRECTION_LABELS[one.trace.is_forward]})" for one in there)
        details.append(f"the worse of {said}" if len(there) > 1 else _one_way_said(there[0]))
    if reason is not None:
        details.append(_missing_detail(reason, forward, backward))
    return WorseDirection(
        reason=reason,
        bounds_tenth_mdb=bounds,
        detail="; ".join(details),
        readings=tuple(map(_record_reading, forward.readings + backward.readings)),
        void=forward.void + backward.void,
    )


def _one_way_said(reading: Reading) -> str:
    return f"{_said(reading)} ({DIRECTION_LABELS[reading.trace.is_forward]}), from one direction only"


def both_said(there: Reading, back: Reading) -> str:
    """Say what both directions show."""
    return f"{_said(there)} ({DIRECTION_LABELS[True]}) and {_said(back)} ({DIRECTION_LABELS[False]})"


def _mean_detail(there: Reading, back: Reading) -> str:
    return "mean of " + both_said(there, back)


def _missing(reason: Reason | None, forward: OneWayLoss, backward: OneWayLoss) -> BidirectionalLoss:
    assert reason is not None
    return BidirectionalLoss(
        reason=reason,
        low_tenth_mdb=0,
        high_tenth_mdb=0,
        detail=_missing_detail(reason, forward, backward),
        readings=tuple(map(_record_reading, forward.readings + backward.readings)),
        void=forward.void + backward.void,
    )


def _missing_detail(reason: Reason, forward: OneWayLoss, backward: OneWayLoss) -> str:
    if reason is Reason.CORDS_CHANGED:
        return "the cord at this end was another one for the other direction"
    if reason is Reason.BELOW_ZERO:
        return f"{_mean_detail(forward.readings[0], backward.readings[0])}: {REASON_LABELS[reason]}"
    missing = [
        (is_forward, _missing_said(one))
        for is_forward, one in ((True, forward), (False, backward))
        if one.reason is not None
    ]
    if len(missing) == 2 and missing[0][1] == missing[1][1]:
        return f"both directions: {missing[0][1]}"
    return "; ".join(f"{DIRECTION_LABELS[is_forward]}: {said}" for is_forward, said in missing)


def _missing_said(loss: OneWayLoss) -> str:
    assert loss.reason is not None
    contradicting = f" ({' or '.join(map(_said, loss.readings))})" if loss.readings else ""
    return f"{REASON_LABELS[loss.reason]}{contradicting}"


def _said(reading: Reading) -> str:
    text = mdb_text(reading.shown_mdb)
    if reading.events:
        return f"{text} dB{', of which a loss beside it may be part' if reading.beside else ''}"
    noise = f", {mdb_text(reading.noise_mdb)} dB of that noise" if reading.noise_mdb else ""
    beside = ", for a loss beside it may hold it" if reading.beside else ""
    return f"a loss not seen, within {text} dB of zero{noise}{beside}"


def _record_reading(reading: Reading) -> RecordReading:
    trace, events = reading.trace, reading.events
    record, direction = trace.stamp.id, DIRECTION[trace.is_forward]
    if not events:
        return RecordReading(record, direction, within=reading.high_mdb)
    # What the event loses in all: where joints share it, one alone may lose less, down to nothing.
    return RecordReading(record, direction, value=reading.shown_mdb, distance_m=events[0].at_m)
