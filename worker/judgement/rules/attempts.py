"""The attempts at a joint, and which of them are documented one by one."""

from collections.abc import Callable, Iterable

from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import RecordReading
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct
from worker.judgement.numbers.clocks import instant_us, order_is_proven
from worker.judgement.numbers.exact import mdb_text

_US_PER_S = 1_000_000


def attempts_at(fibre: FibreMeasured, joint: Joint) -> list[SpliceAct]:
    """Return the attempts at a joint in order of time; one without a position speaks for each splice of its site."""
    own, position = fibre.history.splices.get(joint.site, ()), joint.position
    return [splice for splice in own if splice.position is None or splice.position == position]


def latest_splice(fibre: FibreMeasured, joint: Joint) -> SpliceAct | None:
    """Return the latest attempt at a joint."""
    position = joint.position
    for splice in reversed(fibre.history.splices.get(joint.site, ())):
        if splice.position is None or splice.position == position:
            return splice
    return None


def documented_attempts(fibre: FibreMeasured, joint: Joint) -> list[SpliceAct]:
    """Return the attempts at a joint that are documented one by one, in order of time.

    Each bears a higher number than the one before it and is apart from it by what a splice takes: records made in one
    second, or under one number, are of one attempt, however many there are.
    """
    least_us = fibre.criteria.least_between_attempts_s * _US_PER_S
    # Of one instant by their numbers: only the splicer's own sequence can part such.
    in_order = sorted(attempts_at(fibre, joint), key=lambda one: (one.stamp.made_at, one.attempt, one.stamp.id))
    return _chosen(
        in_order,
        lambda before, after: after.attempt > before.attempt and _are_apart(before, after, least_us=least_us),
    )


def count_apart(fibre: FibreMeasured, joint: Joint) -> int:
    """Return how often a joint was spliced at least, whatever numbers its attempts bear."""
    least_us = fibre.criteria.least_between_attempts_s * _US_PER_S
    apart = _chosen(attempts_at(fibre, joint), lambda before, after: _are_apart(before, after, least_us=least_us))
    return len(apart)


def readings_of(attempts: Iterable[SpliceAct]) -> tuple[RecordReading, ...]:
    """Return what the splicer estimated at each attempt, as readings."""
    return tuple(RecordReading(one.stamp.id, value=one.estimate_mdb) for one in attempts)


def attempts_text(attempts: Iterable[SpliceAct]) -> str:
    """Say what each attempt showed."""
    return ", ".join(f"{mdb_text(one.estimate_mdb)} dB at attempt {one.attempt}" for one in attempts)


def _chosen(attempts: Iterable[SpliceAct], follows: Callable[[SpliceAct, SpliceAct], bool]) -> list[SpliceAct]:
    chosen: list[SpliceAct] = []
    for one in attempts:
        # Also one that was recorded again after another splicer's.
        is_new = not any(_are_of_one_splice(before, one) for before in chosen)
        if not chosen or (is_new and follows(chosen[-1], one)):
            chosen.append(one)
    return chosen


def _are_of_one_splice(one: SpliceAct, other: SpliceAct) -> bool:
    """Tell whether two records are of the same splice, by the splicer's own sequence."""
    return one.splicer_serial == other.splicer_serial and one.splicer_sequence == other.splicer_sequence is not None


def _are_apart(before: SpliceAct, after: SpliceAct, *, least_us: int) -> bool:
    """Tell whether two records are of two attempts: by the splicer's own sequence, or else by their times."""
    numbers = before.splicer_sequence, after.splicer_sequence
    is_one_counter = before.splicer_serial == after.splicer_serial
    # A counter that went back was set back, and says nothing.
    if is_one_counter and numbers[0] is not None and numbers[1] is not None and numbers[0] < numbers[1]:
        return True
    if not order_is_proven(before.stamp, after.stamp):
        return False
    return instant_us(after.stamp.made_at) - instant_us(before.stamp.made_at) >= least_us
