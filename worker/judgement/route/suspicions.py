"""What looks unlikely in honest work, from the outside of all fibres' tests together; nothing is decided by it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from typing import NamedTuple

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.quantities import round_half_even
from worker.judgement.fibre.contributions import Contributions, EstimateSums
from worker.judgement.history.acts import TraceOutline
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
# Twice the square root of pi, a little low, so that a chance is never said too small.
_TWO_ROOTS_OF_PI = Fraction(35449, 10000)
_SPREAD_OF_JOINTS_MDB = 30
_NOISE_MDB = 10
# Beyond this a smaller chance says no more.
_MOST_LOSSES = 60


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
        _too_close(overlaps, SuspicionKind.TWO_FIBRES_AT_ONCE, "measured two fibres at once", on_one_fibre=False),
        _too_close(
            overlaps,
            SuspicionKind.FASTER_THAN_AVERAGING,
            "took a trace faster than its averaging time",
            on_one_fibre=True,
        ),
        _drifting(known),
        _labelled_otherwise(measured),
        *_of_one_fibre(known),
    ]
    return [one for of_kind in found for one in _bounded(list(of_kind))]


def _same_traces(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find traces with the same events: kinds, distances, losses, all of them."""
    for group in _groups(measured, lambda one: one.trace.events_digest):
        said = f"have the same {group[0].trace.losses} losses at the same distances"
        yield from _alike(SuspicionKind.SAME_TRACE, group, said, of=len(measured))


def _same_readings(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find traces of several fibres with the same losses, one by one, to the last digit."""
    for group in _groups(measured, lambda one: one.trace.losses_digest):
        is_of_one_fibre = len({one.fibre for one in group}) == 1
        is_one_trace = len({one.trace.events_digest for one in group}) == 1
        if not is_of_one_fibre and not is_one_trace:
            said = f"show the same {group[0].trace.losses} losses to the last digit"
            yield from _alike(SuspicionKind.SAME_READINGS, group, said, of=len(measured))


def _alike(kind: SuspicionKind, group: list[Measured], said: str, *, of: int) -> Iterator[Suspicion]:
    """Give what traces that are alike are suspected of, unless chance makes so many alike."""
    first, is_repeated = group[0].trace, len({(one.fibre, one.trace.is_forward) for one in group}) == 1
    power = chance_of_equal_losses(losses=first.losses, step_mdb=first.step_mdb, traces=of, is_repeated=is_repeated)
    if power >= _LEAST_POWER:
        assumed = "losses to spread by 0.03 dB from joint to joint"
        if is_repeated:
            assumed = "the noise of one reading for 0.01 dB"
        detail = f"{len(group)} traces on {_fibres_text(group)} {said}"
        yield _suspicion(kind, group, detail, f"at most 1e-{power}, taking {assumed}")


def chance_of_equal_losses(*, losses: int, step_mdb: int, traces: int, is_repeated: bool) -> int:
    r"""Return the power of ten, its sign left out, below which the chance is that any two traces show equal losses.

    Parameters
    ----------
    losses : int
        How many losses are equal, one by one.
    step_mdb : int
        Last place of a loss. [0.001 dB]
    traces : int
        How many traces there are to be alike.
    is_repeated : bool
        Whether one and the same fibre was measured twice from one end.

    Returns
    -------
    int
        The greatest k with a chance of at most 10 to the minus k; 0 where there is nothing unlikely in it.

    Notes
    -----
    .. math:: P \le \binom{N}{2} \left(\frac{q}{2\sigma\sqrt{\pi}}\right)^n

    Two independent normal losses of standard deviation :math:`\sigma` differ by a normal value of
    :math:`\sigma\sqrt 2`, whose density is :math:`1/(2\sigma\sqrt\pi)` at most; that times the last place q bounds the
    chance that they read the same. Losses of one trace are taken for independent. :math:`\sigma` is 0.03 dB from joint
    to joint, and 0.01 dB from one reading of a joint to the next: common practice, no source.
    """
    spread_mdb = _NOISE_MDB if is_repeated else _SPREAD_OF_JOINTS_MDB
    of_one = min(Fraction(1), Fraction(step_mdb) / (_TWO_ROOTS_OF_PI * spread_mdb))
    chance = Fraction(traces * (traces - 1), 2) * of_one ** min(losses, _MOST_LOSSES)
    power = 0
    while chance * 10 <= 1:
        chance *= 10
        power += 1
    return power


def _too_close(overlaps: list[_Overlaps], kind: SuspicionKind, said: str, *, on_one_fibre: bool) -> Iterator[Suspicion]:
    """Find instruments whose traces overlap in time: on two fibres, or on one that was averaged for longer."""
    for instrument, pairs in overlaps:
        own = [(one, other) for one, other in pairs if (one.fibre == other.fibre) is on_one_fibre]
        if own:
            times = "once" if len(own) == 1 else f"{len(own)} times"
            yield _timing(kind, own, f"{instrument} {said} {times}")


def _drifting(contributions: Mapping[int, Contributions]) -> Iterator[Suspicion]:
    r"""Find splicers whose estimates since a calibration are off the measured means for certain, and by a lot.

    Said from 30 splices on, where the mean difference is above 0.05 dB (common practice, no source) and
    :math:`z = \bar d\,/\,(s/\sqrt n)` above 5. By Student's distribution with 29 degrees of freedom or more that has
    a chance of 2.6e-5 at most, taking the differences for independent and normal around 0.
    """
    estimates: dict[tuple[str, str], list[tuple[int, EstimateSums]]] = defaultdict(list)
    for fibre, contributed in contributions.items():
        for one in contributed.estimates:
            estimates[one.splicer, one.calibration].append((fibre, one))
    for (splicer, calibration), own in sorted(estimates.items()):
        splices = sum(one.splices for _, one in own)
        above_tenth_mdb = sum(one.sum_tenth_mdb for _, one in own)
        if not _is_drift(splices, above_tenth_mdb, sum_of_squares=sum(one.sum_of_squares for _, one in own)):
            continue
        mean = db_text(round_half_even(abs(above_tenth_mdb), unit=splices))
        since = f"since its calibration {calibration}" if calibration else "with no calibration recorded"
        yield Suspicion(
            kind=SuspicionKind.ESTIMATES_DRIFT,
            fibres=tuple(sorted({fibre for fibre, _ in own})[:MOST_NAMED]),
            records=(calibration,) if calibration else (),
            detail=f"the estimates of {splicer} {since} are on average {mean} dB "
            f"{'above' if above_tenth_mdb > 0 else 'below'} the measured means of {splices} splices",
            chance="at most 3e-5, taking the differences for independent and normal around zero",
        )


def _is_drift(splices: int, above_tenth_mdb: int, *, sum_of_squares: int) -> bool:
    if splices < _LEAST_SPLICES or abs(above_tenth_mdb) <= _LEAST_DRIFT_TENTH_MDB * splices:
        return False
    squared = above_tenth_mdb**2
    return squared * (splices - 1) > _LEAST_Z**2 * (splices * sum_of_squares - squared)


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
    """Give what is suspected of single fibres, kind by kind; what is said of several in the same words, once."""
    alike: dict[Suspicion, list[int]] = defaultdict(list)
    for own in contributions.values():
        for one in own.suspicions:
            alike[one._replace(fibres=())] += one.fibres
    seen = [_of_all(one, fibres) for one, fibres in alike.items()]
    for kind in SuspicionKind:
        yield [one for one in seen if one.kind is kind]


def _of_all(said: Suspicion, fibres: list[int]) -> Suspicion:
    detail = said.detail if len(fibres) == 1 else f"{said.detail}: {len(fibres)} fibres"
    return said._replace(fibres=tuple(fibres[:MOST_NAMED]), detail=detail)


def _groups(measured: Iterable[Measured], key: Callable[[Measured], str]) -> Iterator[list[Measured]]:
    found: dict[str, list[Measured]] = defaultdict(list)
    for one in measured:
        found[key(one)].append(one)
    return (group for group in found.values() if len(group) > 1)


def _overlaps(measured: list[Measured]) -> Iterator[_Overlaps]:
    """Give each instrument's traces that began before the one before them had ended, with that one.

    Traces of one fibre and direction with one time are one act, stored at once.
    """
    # By clock, for only times of one clock tell what came first.
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
