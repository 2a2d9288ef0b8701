"""What looks unlikely in honest work, from the outside of all fibres' tests together; nothing is decided by it."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.quantities import round_half_even
from worker.judgement.fibre.contributions import Contributions, EstimateSums
from worker.judgement.history.acts import TraceOutline
from worker.judgement.numbers.chance import chance_of_equal_losses, power_text
from worker.judgement.numbers.exact import db_text

# Enough to see what is the matter; each says how many there are.
MOST_OF_A_KIND = 20
MOST_NAMED = 20
# Less likely than one in a thousand routes.
_LEAST_POWER = 3
# Times kept to the second may be one second off at each end.
_CLOCK_STEP_US = 1_000_000
_US_PER_S = 1_000_000
_US_PER_TENTH = 100_000
_LEAST_SPLICES = 30
_LEAST_DRIFT_TENTH_MDB = 500
_LEAST_Z = 5


class Measured(NamedTuple):
    """A trace, and the fibre it was posted for."""

    fibre: int
    trace: TraceOutline


# An instrument, and its traces that began before others had ended.
_Overlaps = tuple[str, list[tuple[Measured, Measured]]]


def suspicions_of(contributions: Mapping[int, Contributions | None]) -> list[Suspicion]:
    """Return what is seen, at most so many of each kind; fibres come in order of number."""
    known = {fibre: own for fibre, own in contributions.items() if own is not None}
    measured = [Measured(fibre, trace) for fibre, own in known.items() for trace in own.traces]
    overlaps = list(_overlaps(measured))
    found = [
        _same_traces(measured),
        _same_readings(measured),
        _two_at_once(overlaps),
        _too_fast(overlaps),
        _drifting(known),
        _labelled_otherwise(measured),
        *_of_one_fibre(known),
    ]
    return [one for of_kind in found for one in _bounded(list(of_kind))]


def _same_traces(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find traces with the same events: kinds, distances, losses, all of them."""
    for group in _groups(measured, lambda one: one.trace.events_digest):
        power = _power(group, of=len(measured))
        if power is not None:
            yield _suspicion(
                SuspicionKind.SAME_TRACE,
                group,
                f"{len(group)} traces on {_fibres_text(group)} have the same {group[0].trace.losses} losses at the "
                "same distances",
                power_text(power, _assumed(group)),
            )


def _same_readings(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find traces of several fibres with the same losses, one by one, to the last digit."""
    for group in _groups(measured, lambda one: one.trace.losses_digest):
        is_of_one_fibre = len({one.fibre for one in group}) == 1
        is_one_trace = len({one.trace.events_digest for one in group}) == 1
        power = None if is_of_one_fibre or is_one_trace else _power(group, of=len(measured))
        if power is not None:
            yield _suspicion(
                SuspicionKind.SAME_READINGS,
                group,
                f"{len(group)} traces on {_fibres_text(group)} show the same {group[0].trace.losses} losses to the "
                "last digit",
                power_text(power, _assumed(group)),
            )


def _two_at_once(overlaps: list[_Overlaps]) -> Iterator[Suspicion]:
    """Find an instrument that averaged on one fibre while it did on another."""
    for instrument, pairs in overlaps:
        own = [(one, other) for one, other in pairs if one.fibre != other.fibre]
        if own:
            yield _timing(
                SuspicionKind.TWO_FIBRES_AT_ONCE, own, f"{instrument} measured two fibres at once {_times(len(own))}"
            )


def _too_fast(overlaps: list[_Overlaps]) -> Iterator[Suspicion]:
    """Find traces of one fibre by one instrument that follow each other faster than the later one was averaged."""
    for instrument, pairs in overlaps:
        own = [(one, other) for one, other in pairs if one.fibre == other.fibre]
        if own:
            yield _timing(
                SuspicionKind.FASTER_THAN_AVERAGING,
                own,
                f"{instrument} took a trace faster than its averaging time {_times(len(own))}",
            )


def _drifting(contributions: Mapping[int, Contributions]) -> Iterator[Suspicion]:
    r"""Find splicers whose estimates since a calibration are off the measured means for certain, and by a lot.

    Said from 30 splices on, where the mean difference is above 0.05 dB (common practice, no source) and
    :math:`z = \bar d\,/\,(s/\sqrt n)` above 5. By Student's distribution with 29 degrees of freedom or more that has
    a chance of 2.6e-5 at most, taking the differences for independent and normal around 0.
    """
    sums: dict[tuple[str, str], EstimateSums] = {}
    fibres: dict[tuple[str, str], set[int]] = {}
    for fibre, own in contributions.items():
        for one in own.estimates:
            key = (one.splicer, one.calibration)
            before = sums.get(key)
            sums[key] = one if before is None else _sum_of(before, one)
            fibres.setdefault(key, set()).add(fibre)
    for key in sorted(sums):
        one = sums[key]
        if _is_drifting(one):
            mean = db_text(round_half_even(abs(one.sum_tenth_mdb), unit=one.splices))
            side = "above" if one.sum_tenth_mdb > 0 else "below"
            since = f"since its calibration {one.calibration}" if one.calibration else "with no calibration recorded"
            yield Suspicion(
                kind=SuspicionKind.ESTIMATES_DRIFT,
                fibres=tuple(sorted(fibres[key])[:MOST_NAMED]),
                records=(one.calibration,) if one.calibration else (),
                detail=f"the estimates of {one.splicer} {since} are on average {mean} dB {side} "
                f"the measured means of {one.splices} splices",
                chance="at most 3e-5, taking the differences for independent and normal around zero",
            )


def _labelled_otherwise(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find fibres with traces whose own file names another fibre."""
    unlike = [one for one in measured if one.trace.labelled_fibre not in {None, one.fibre}]
    for fibre, own in groupby(unlike, key=lambda one: one.fibre):
        group = list(own)
        labels = sorted({one.trace.labelled_fibre for one in group if one.trace.labelled_fibre is not None})
        yield _suspicion(
            SuspicionKind.LABELLED_OTHERWISE,
            group,
            f"{_carry(len(group), fibre, ' or '.join(map(str, labels)))} own file",
            "a slip in naming files happens in honest work; no chance is reckoned",
        )


def _carry(count: int, fibre: int, labels: str) -> str:
    if count == 1:
        return f"1 trace posted for fibre {fibre} carries the number {labels} in its"
    return f"{count} traces posted for fibre {fibre} carry the number {labels} in their"


def _of_one_fibre(contributions: Mapping[int, Contributions]) -> Iterator[list[Suspicion]]:
    """Give what is suspected of single fibres, kind by kind."""
    seen = [one for own in contributions.values() for one in own.suspicions]
    for kind in SuspicionKind:
        yield [one for one in seen if one.kind is kind]


def _groups(measured: Iterable[Measured], key: Callable[[Measured], str]) -> Iterator[list[Measured]]:
    found: dict[str, list[Measured]] = {}
    for one in measured:
        found.setdefault(key(one), []).append(one)
    return (group for group in found.values() if len(group) > 1)


def _power(group: list[Measured], *, of: int) -> int | None:
    """Return the power of ten below which the chance of a group is, or None where it is nothing out of the way."""
    first = group[0].trace
    power = chance_of_equal_losses(
        losses=first.losses, step_mdb=first.step_mdb, traces=of, is_repeated=_is_repeated(group)
    )
    return power if power >= _LEAST_POWER else None


def _is_repeated(group: list[Measured]) -> bool:
    return len({(one.fibre, one.trace.is_forward) for one in group}) == 1


def _assumed(group: list[Measured]) -> str:
    return (
        "the noise of one reading for 0.01 dB"
        if _is_repeated(group)
        else "losses to spread by 0.03 dB from joint to joint"
    )


def _overlaps(measured: list[Measured]) -> Iterator[_Overlaps]:
    """Give each instrument's traces that began before the one before them had ended, with that one.

    Traces of one fibre and direction with one time are one act, stored at once.
    """
    in_order = sorted(
        measured, key=lambda one: (one.trace.instrument, one.trace.clock, one.trace.ended_at_us, one.trace.record)
    )
    for (instrument, _), own in groupby(in_order, key=lambda one: (one.trace.instrument, one.trace.clock)):
        acts = [list(act) for _, act in groupby(own, key=_act_of)]
        pairs = [(before[-1], act[0]) for before, act in pairwise(acts) if _begins_before_end(before[-1], act)]
        if pairs:
            yield instrument, pairs


def _act_of(one: Measured) -> tuple[int, int, bool]:
    return one.trace.ended_at_us, one.fibre, one.trace.is_forward


def _begins_before_end(before: Measured, act: list[Measured]) -> bool:
    began_at_us = act[0].trace.ended_at_us - max(one.trace.averaging_us for one in act)
    return began_at_us + _CLOCK_STEP_US < before.trace.ended_at_us


def _timing(kind: SuspicionKind, pairs: list[tuple[Measured, Measured]], said: str) -> Suspicion:
    before, after = pairs[0]
    apart_us = after.trace.ended_at_us - before.trace.ended_at_us
    group = [one for pair in pairs for one in pair]
    first = (
        f"first on fibre {after.fibre}, {_seconds_text(apart_us)} after a trace on fibre {before.fibre} and averaged "
        f"for {_seconds_text(after.trace.averaging_us)}"
    )
    chance = "none, where clocks are right and a trace is stored when it is made"
    return _suspicion(kind, group, f"{said}: {first}", chance)


def _seconds_text(time_us: int) -> str:
    return f"{time_us // _US_PER_S}.{time_us % _US_PER_S // _US_PER_TENTH} s"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _sum_of(one: EstimateSums, other: EstimateSums) -> EstimateSums:
    return one._replace(
        splices=one.splices + other.splices,
        sum_tenth_mdb=one.sum_tenth_mdb + other.sum_tenth_mdb,
        sum_of_squares=one.sum_of_squares + other.sum_of_squares,
    )


def _is_drifting(one: EstimateSums) -> bool:
    if one.splices < _LEAST_SPLICES or abs(one.sum_tenth_mdb) <= _LEAST_DRIFT_TENTH_MDB * one.splices:
        return False
    squared = one.sum_tenth_mdb**2
    return squared * (one.splices - 1) > _LEAST_Z**2 * (one.splices * one.sum_of_squares - squared)


def _fibres_text(group: list[Measured]) -> str:
    fibres = sorted({one.fibre for one in group})
    if len(fibres) == 1:
        return f"fibre {fibres[0]}"
    return f"fibres {', '.join(map(str, fibres[:-1]))} and {fibres[-1]}" if len(fibres) < 6 else f"{len(fibres)} fibres"


def _suspicion(kind: SuspicionKind, group: list[Measured], detail: str, chance: str) -> Suspicion:
    fibres = tuple(sorted({one.fibre for one in group})[:MOST_NAMED])
    records = tuple(dict.fromkeys(one.trace.record for one in group))[:MOST_NAMED]
    return Suspicion(kind, fibres, records, detail, chance)


def _bounded(found: Sequence[Suspicion]) -> list[Suspicion]:
    kept = list(found[:MOST_OF_A_KIND])
    if len(found) > len(kept):
        kept[-1] = kept[-1]._replace(detail=f"{kept[-1].detail}; and {len(found) - len(kept)} more like these")
    return kept
