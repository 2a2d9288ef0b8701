"""The loss of a place from both directions: an exact mean, or bounds where a direction shows nothing."""

from typing import NamedTuple

from service.vocabulary.finding import ReadingDocument, VoidDocument
from service.vocabulary.words import Reason
from worker.judgement.exact import mean_tenth_mdb
from worker.judgement.history import Trace
from worker.judgement.placed import Shown
from worker.judgement.places import Place
from worker.judgement.words import DIRECTION, REASON_SPOKEN, SPOKEN


class Sight(NamedTuple):
    """What one direction shows at a place, by which trace, and which traces were set aside."""

    shown: Shown
    trace: Trace | None
    void: tuple[VoidDocument, ...]


class BidirectionalLoss(NamedTuple):
    """The mean of both directions lies between the bounds, or cannot be said for a reason."""

    reason: Reason | None
    low_tenth_mdb: int
    high_tenth_mdb: int
    detail: str
    readings: tuple[ReadingDocument, ...]
    void: tuple[VoidDocument, ...]


def combine(place: Place, forward: Sight, backward: Sight) -> BidirectionalLoss:
    """Return the loss of a place from the sights of both directions."""
    reason = _reason(place, forward, backward)
    return BidirectionalLoss(
        reason=reason,
        low_tenth_mdb=mean_tenth_mdb(first_mdb=forward.shown.low_mdb, second_mdb=backward.shown.low_mdb),
        high_tenth_mdb=mean_tenth_mdb(first_mdb=forward.shown.high_mdb, second_mdb=backward.shown.high_mdb),
        detail=_mean_detail(forward, backward) if reason is None else _missing_detail(reason, forward, backward),
        readings=(*_reading(forward, is_forward=True), *_reading(backward, is_forward=False)),
        void=forward.void + backward.void,
    )


def _reason(place: Place, forward: Sight, backward: Sight) -> Reason | None:
    reasons = (forward.shown.reason, backward.shown.reason)
    if reasons == (None, None):
        return Reason.CORDS_CHANGED if place.is_end and _cords_changed(place, forward, backward) else None
    told = [reason for reason in reasons if reason not in {None, Reason.NO_EVIDENCE}]
    if told:
        return told[0]
    return Reason.ONE_DIRECTION_ONLY if None in reasons else Reason.NO_EVIDENCE


def _cords_changed(place: Place, forward: Sight, backward: Sight) -> bool:
    if forward.trace is None or backward.trace is None:
        return False
    is_near_a = place.site_index == forward.trace.low_index
    one = forward.trace.launch if is_near_a else forward.trace.receive
    other = backward.trace.receive if is_near_a else backward.trace.launch
    return one is None or other is None or one.serial != other.serial


def _reading(sight: Sight, *, is_forward: bool) -> tuple[ReadingDocument, ...]:
    shown, trace = sight.shown, sight.trace
    if shown.reason is not None or trace is None:
        return ()
    reading: ReadingDocument = {"record": trace.stamp.id, "direction": DIRECTION[is_forward]}
    if shown.distance_m is None:
        reading["within_db"] = shown.text
    else:
        reading["value_db"] = shown.text
        reading["distance_m"] = shown.distance_m
    return (reading,)


def _mean_detail(forward: Sight, backward: Sight) -> str:
    return f"mean of {_said(forward, is_forward=True)} and {_said(backward, is_forward=False)}"


def _said(sight: Sight, *, is_forward: bool) -> str:
    shown = sight.shown
    if shown.is_seen:
        return f"{shown.text} dB ({SPOKEN[is_forward]})"
    return f"a loss not seen, within {shown.text} dB of zero ({SPOKEN[is_forward]})"


def _missing_detail(reason: Reason, forward: Sight, backward: Sight) -> str:
    if reason is Reason.CORDS_CHANGED:
        return "the cord at this end was another one for the other direction"
    reasons = (forward.shown.reason, backward.shown.reason)
    if reasons[0] is reasons[1]:
        return f"both directions: {REASON_SPOKEN[reason]}"
    parts = [
        f"{SPOKEN[is_forward]}: {REASON_SPOKEN[found]}"
        for is_forward, found in zip((True, False), reasons, strict=True)
        if found is not None
    ]
    return "; ".join(parts)
