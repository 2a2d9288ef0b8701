"""Which of two acts came first, where their clocks can say so, and instants as numbers."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from service.vocabulary.findings.words import Reason


class Stamp(NamedTuple):
    """Who says when: the time of a record on its device's clock. Stamps sort by it: arrival never matters."""

    made_at: str
    id: str
    device: str
    clock_is_flagged: bool


def order_is_proven(one: Stamp, other: Stamp) -> bool:
    """Tell whether two records' times can be compared: a wrong clock only orders what it stamped itself.

    A device of whose records some are flagged and some are not had its clock set in between.
    """
    if one.clock_is_flagged or other.clock_is_flagged:
        return one.device == other.device and one.clock_is_flagged == other.clock_is_flagged
    return True


def last_of_each_clock(stamps: Sequence[Stamp]) -> tuple[Stamp, ...]:
    """Return the last stamp of each clock, in order; what is after these is proven after all."""
    if len(stamps) < 2:
        return tuple(stamps)
    # Each later one takes the place of the one before it.
    last = {(stamp.device, stamp.clock_is_flagged): stamp for stamp in sorted(stamps)}
    return tuple(sorted(last.values()))


def latest_is_proven(stamps: Sequence[Stamp]) -> bool:
    """Tell whether the latest of some records is the latest for certain."""
    if len(stamps) == 1:
        return True
    *others, latest = last_of_each_clock(stamps)
    return all(order_is_proven(other, latest) for other in others)


def order_fault(test: Stamp, last_acts: Sequence[Stamp], reason: Reason) -> Reason | None:
    """Return why a test does not count after some acts: the reason if it is not later, or that nobody can say.

    A test at the same instant as an act is not later.
    """
    is_proven = True
    for act in last_acts:
        if not order_is_proven(test, act):
            is_proven = False
        elif act.made_at >= test.made_at:
            # One act that is provably later decides, whatever the clocks of the others.
            return reason
    return None if is_proven else Reason.ORDER_NOT_PROVEN


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def instant_us(text: str) -> int:
    """Return the microseconds from 1970 to an instant."""
    # Years before 1000, which earlier releases took, were kept without the zeros in front of them.
    year, _, rest = text.partition("-")
    return (datetime.fromisoformat(f"{year.zfill(4)}-{rest}") - _EPOCH) // _MICROSECOND
