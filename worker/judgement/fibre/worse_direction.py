"""The worse of what the two directions show of a place, for contracts that limit what one direction shows."""

from collections.abc import Iterator
from typing import NamedTuple

from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.words import Reason
from worker.judgement.fibre.bidirectional import missing_detail, missing_reason, record_readings, spoken
from worker.judgement.traces.readings import OneWayLoss
from worker.judgement.words import DIRECTION_LABELS

# There is a reading, and it cannot be told which; that the other direction is good says nothing of it.
_CONTRADICTORY = {Reason.AMBIGUOUS_EVENT, Reason.READINGS_DISAGREE, Reason.LOSS_NOT_STATED}


class WorseDirection(NamedTuple):
    """The worse of the directions there are lies between the bounds; `reason` says why it may be worse still.

    `bounds_mdb` are missing where no direction shows anything.
    """

    reason: Reason | None
    bounds_mdb: tuple[int, int] | None
    detail: str
    readings: tuple[RecordReading, ...]
    void: tuple[VoidRecord, ...]


def worse_of_any(forward: OneWayLoss, backward: OneWayLoss) -> WorseDirection:
    """Return the worse direction of those that show the place; one is enough."""
    told = (forward.reason, backward.reason)
    contradictory = next((reason for reason in told if reason in _CONTRADICTORY), None)
    return _worse(forward, backward, contradictory if None in told else missing_reason(*told))


def worse_of_both(forward: OneWayLoss, backward: OneWayLoss) -> WorseDirection:
    """Return the worse direction of the two that have to show the place."""
    return _worse(forward, backward, missing_reason(forward.reason, backward.reason))


def _worse(forward: OneWayLoss, backward: OneWayLoss, reason: Reason | None) -> WorseDirection:
    there = [one.readings[0] for one in (forward, backward) if one.reason is None]
    bounds = (max(one.low_mdb for one in there), max(one.high_mdb for one in there)) if there else None
    return WorseDirection(
        reason=reason,
        bounds_mdb=bounds,
        detail="; ".join(_details(reason, forward, backward)),
        readings=record_readings(forward, backward),
        void=forward.void + backward.void,
    )


def _details(reason: Reason | None, forward: OneWayLoss, backward: OneWayLoss) -> Iterator[str]:
    there = [
        f"{spoken(one.readings[0])} ({DIRECTION_LABELS[is_forward]})"
        for one, is_forward in ((forward, True), (backward, False))
        if one.reason is None
    ]
    if there:
        yield f"the worse of {' and '.join(there)}" if len(there) > 1 else f"{there[0]}, from one direction only"
    if reason is not None:
        yield missing_detail(reason, forward, backward)
