"""What is known of a closure's lid, and which tests were made under it as it is now."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from service.vocabulary.findings.words import Reason
from worker.judgement.numbers.clocks import Stamp, latest_is_proven, order_fault


class LidAct(NamedTuple):
    """What shut a closure's lid or opened it: a record of the lid, or splicing in the closure.

    `reaches` tells whether it opened it for the fibre whose history it stands in, by what was agreed. Splicing
    `of_other_route` opens only what is shut: who opened the lid before said for whom.
    """

    stamp: Stamp
    is_sealed: bool
    reaches: bool
    is_splicing: bool = False
    is_ended: bool = False
    of_other_route: bool = False


class Lid(NamedTuple):
    """What is known of a closure's lid, as far as it matters to one fibre.

    `opened` is the last act that opened it for the fibre, `sealed` the first sealing after that, which a test has to be
    later than: none where it is open. `again` is the last sealing of one that was sealed already, with no opening
    recorded between: it changes nothing for later tests, but earlier ones may be of a lid that was opened since.
    """

    is_certain: bool
    opened: LidAct | None
    sealed: Stamp | None
    again: Stamp | None


def judge_lid(acts: Sequence[LidAct]) -> Lid:
    """Return what is known of a lid by what shut and opened it, in order of time.

    What did not open it for the fibre is nothing to its tests, and still explains why it was sealed once more.
    """
    if _is_sealed_once(acts):
        return Lid(True, None, acts[0].stamp, None)
    opened: LidAct | None = None
    sealed: Stamp | None = None
    again: Stamp | None = None
    is_shut = False
    for act in acts:
        if act.of_other_route and not is_shut:
            continue
        if act.is_ended and (sealed is None or not act.reaches):
            # It opened nothing that was shut for this fibre, and being withdrawn explains nothing either.
            continue
        if act.reaches:
            opened, sealed, again = act, None, None
        elif act.is_sealed and sealed is None:
            sealed = act.stamp
        elif act.is_sealed and is_shut:
            again = act.stamp
        is_shut = act.is_sealed
    own = [act.stamp for act in acts if act.is_sealed or act.reaches]
    return Lid(len(own) < 2 or latest_is_proven(own), opened, sealed, again)


def _is_sealed_once(acts: Sequence[LidAct]) -> bool:
    """Tell whether nothing is recorded but one sealing, as of nearly every closure of a finished route."""
    own = acts[0]
    return len(acts) == 1 and own.is_sealed and not (own.is_ended or own.reaches or own.of_other_route)


def all_shut_at(lids: Iterable[Lid | None]) -> str | None:
    """Return when the last closure was shut, if all are for certain: on a finished route all tests are later."""
    shut_at = ""
    for lid in lids:
        if lid is None or not lid.is_certain or lid.sealed is None:
            return None
        latest = lid.again or lid.sealed
        if latest.clock_is_flagged:
            return None
        shut_at = max(shut_at, latest.made_at)
    return shut_at


def sealing_fault(test: Stamp, lid: Lid | None) -> Reason | None:
    """Return why a test does not count under a lid."""
    if lid is None or (lid.opened is None and lid.sealed is None):
        return Reason.SEALING_NOT_RECORDED
    if not lid.is_certain:
        return Reason.ORDER_NOT_PROVEN
    was_withdrawn = lid.opened is not None and lid.opened.is_ended
    if lid.sealed is None:
        return Reason.WITHDRAWN_WORK if was_withdrawn else Reason.CLOSURE_OPEN
    fault = order_fault(test, (lid.sealed,), Reason.WITHDRAWN_WORK if was_withdrawn else Reason.BEFORE_SEALING)
    if fault is not None or lid.again is None:
        return fault
    # Nobody seals what is shut: it was opened in between, or the second record is wrong, and the records do not say.
    return order_fault(test, (lid.again,), Reason.OPENING_NOT_RECORDED)
