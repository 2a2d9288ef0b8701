"""What one direction shows of a place by all its traces: one reading, or why there is none."""

from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import NamedTuple

from service.vocabulary.findings.finding import VoidRecord
from service.vocabulary.words import Reason
from worker.judgement.traces.aligned_trace import Reading


class OneWayLoss(NamedTuple):
    """The loss of a place in one direction, or the reason why it cannot be said.

    `readings` are the one that is used, or all of them where they contradict each other; `void` are the traces that
    were set aside.
    """

    reason: Reason | None
    readings: tuple[Reading, ...]
    void: tuple[VoidRecord, ...]


def select_reading(shown: Sequence[Reading | Reason], *, void: tuple[VoidRecord, ...]) -> OneWayLoss:
    """Return what the traces that reach a place come to, given in order of pulse, the shortest first.

    The shortest pulse that sees the place is used: one that sees nothing never outdoes one that does.
    """
    if len(shown) == 1 and isinstance(shown[0], Reading):
        return OneWayLoss(None, (shown[0],), void)
    readings = tuple(one for one in shown if isinstance(one, Reading))
    seen = next((reading for reading in readings if reading.is_seen), None)
    if _is_ambiguous(shown, until=seen):
        return OneWayLoss(Reason.AMBIGUOUS_EVENT, (), void)
    if not readings:
        return OneWayLoss(next(one for one in shown if isinstance(one, Reason)), (), void)
    if not all(one.agrees_with(other) for one, other in combinations(readings, 2)):
        return OneWayLoss(Reason.READINGS_DISAGREE, readings, void)
    used = seen or min(readings, key=lambda reading: reading.high_mdb)
    return OneWayLoss(None, (used,), void)


def _is_ambiguous(shown: Iterable[Reading | Reason], *, until: Reading | None) -> bool:
    # A longer pulse may reach farther or lie behind a cord; it cannot tell two events apart.
    for one in shown:
        if one is until:
            return False
        if one is Reason.AMBIGUOUS_EVENT:
            return True
    return False
