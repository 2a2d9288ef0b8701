"""Traces of several fibres that are the same, or nearly: unlikely in honest work, for no two fibres are alike."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import reduce
from math import isqrt
from typing import NamedTuple

import numpy as np

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from worker.judgement.fibre.packed_losses import UNREAD, unpack_losses
from worker.judgement.history.acts import TraceOutline
from worker.judgement.history.validity import Side
from worker.judgement.numbers.exact import mdb_text
from worker.judgement.route.agreement import CloseRows, Integers, Readings, close_rows
from worker.judgement.words import DIRECTION_LABELS

# Enough to see what is the matter; each says how many there are.
MOST_NAMED = 20
# Less likely than one in a thousand routes.
LEAST_POWER = 3
# Twice the square root of pi, a little low, so that a chance is never said too small.
_TWO_ROOTS_OF_PI = Fraction(35449, 10000)
_SPREAD_OF_JOINTS_MDB = 30
_NOISE_MDB = 10
# How far two readings with that noise are apart in the middle: 0.954 times it where they are normal.
_MEDIAN_OF_NOISE_MDB = 9
# Beyond this a smaller chance says no more.
_MOST_LOSSES = 60


class Measured(NamedTuple):
    """A trace, and the fibre it was posted for."""

    fibre: int
    trace: TraceOutline


class Compared(NamedTuple):
    """Readings that are compared row by row, the traces behind each row, and how they are called."""

    called: str
    readings: Readings
    traces: Sequence[tuple[Measured, ...]]


class _Near(NamedTuple):
    """Two fibres that agree too closely: in which rows of what was compared."""

    compared: Compared
    close: CloseRows

    @property
    def traces(self) -> tuple[Measured, ...]:
        """The traces that agree, the first fibre's before the other's."""
        one, other = self.close.rows
        return self.compared.traces[one] + self.compared.traces[other]


def same_traces(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find traces with the same events: kinds, distances, losses, all of them."""
    for group in _groups(measured, lambda one: one.trace.events_digest):
        said = f"have the same {group[0].trace.losses} losses at the same distances"
        yield from _alike(SuspicionKind.SAME_TRACE, group, said, of=len(measured))


def same_readings(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find traces of several fibres with the same losses, one by one, to the last digit."""
    for group in _groups(measured, lambda one: one.trace.losses_digest):
        is_of_one_fibre = len({one.fibre for one in group}) == 1
        is_one_trace = len({one.trace.events_digest for one in group}) == 1
        if not is_of_one_fibre and not is_one_trace:
            said = f"show the same {group[0].trace.losses} losses to the last digit"
            yield from _alike(SuspicionKind.SAME_READINGS, group, said, of=len(measured))


def readings_by_side(measured: Sequence[Measured]) -> dict[Side, Compared]:
    """Return what traces read by site, for each direction and wavelength, fibres in order."""
    sides: dict[Side, list[Measured]] = defaultdict(list)
    for one in measured:
        if one.trace.packed_losses:
            sides[_side_of(one)].append(one)
    return {
        side: Compared(
            called=f"the readings {DIRECTION_LABELS[side.is_forward]} at {side.wavelength_nm} nm",
            readings=_readings_of(own),
            traces=[(one,) for one in own],
        )
        for side, own in sorted(sides.items())
    }


def nearly_same_readings(by_side: Mapping[Side, Compared]) -> Iterator[Suspicion]:
    """Find fibres whose readings agree more closely than this route's own scatter allows.

    Each direction and wavelength by itself, as one may be the neighbour's and the other not; and what all of them show
    together, where the mean of both directions scatters far less than either.
    """
    compared = [*by_side.values(), *_together(by_side)]
    counts = [one.readings.fibre_count for one in compared]
    comparisons = sum(count * (count - 1) // 2 for count in counts)
    near = [
        _Near(one, close)
        for one in compared
        for close in close_rows(one.readings, comparisons=comparisons)
        if close.power >= LEAST_POWER and not _is_same(one, close)
    ]
    yield from sorted((_write_near(group, comparisons) for group in _connected(near)), key=lambda one: one.fibres)


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
        Whether one and the same fibre was measured at several wavelengths from one end.

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


def write_suspicion(kind: SuspicionKind, group: Sequence[Measured], detail: str, chance: str) -> Suspicion:
    """Return what is suspected of traces, naming the first of them."""
    fibres = tuple(sorted({one.fibre for one in group})[:MOST_NAMED])
    records = tuple(dict.fromkeys(one.trace.record for one in group))[:MOST_NAMED]
    return Suspicion(kind, fibres, records, detail, chance)


def fibres_text(fibres: Iterable[int]) -> str:
    """Name fibres, or say how many there are."""
    own = sorted(set(fibres))
    if len(own) == 1:
        return f"fibre {own[0]}"
    return f"fibres {', '.join(map(str, own[:-1]))} and {own[-1]}" if len(own) < 6 else f"{len(own)} fibres"


def _alike(kind: SuspicionKind, group: list[Measured], said: str, *, of: int) -> Iterator[Suspicion]:
    """Give what traces that are alike are suspected of, unless chance makes so many alike."""
    first, is_repeated = group[0].trace, len({(one.fibre, one.trace.is_forward) for one in group}) == 1
    power = chance_of_equal_losses(losses=first.losses, step_mdb=first.step_mdb, traces=of, is_repeated=is_repeated)
    if power >= LEAST_POWER:
        assumed = "losses to spread by 0.03 dB from joint to joint"
        if is_repeated:
            assumed = "the noise of one reading for 0.01 dB"
        detail = f"{len(group)} traces on {fibres_text(one.fibre for one in group)} {said}"
        yield write_suspicion(kind, group, detail, f"at most 1e-{power}, taking {assumed}")


def _groups(measured: Iterable[Measured], key: Callable[[Measured], str]) -> Iterator[list[Measured]]:
    """Give what is alike; tests of one fibre from one end at one wavelength may be, and count once."""
    found: dict[str, list[Measured]] = defaultdict(list)
    for one in measured:
        found[key(one)].append(one)
    for group in found.values():
        if len(group) > 1:
            once = {(one.fibre, _side_of(one)): one for one in reversed(group)}
            if len(once) > 1:
                yield list(reversed(once.values()))


def _side_of(one: Measured) -> Side:
    return Side(one.trace.wavelength_nm, one.trace.is_forward)


def _readings_of(own: Sequence[Measured]) -> Readings:
    return Readings(
        values_mdb=unpack_losses([one.trace.packed_losses for one in own]),
        fibres=np.array([one.fibre for one in own], dtype=np.int64),
        steps_mdb=np.array([one.trace.step_mdb for one in own], dtype=np.int64),
        noise_mdb=_MEDIAN_OF_NOISE_MDB,
    )


def _together(by_side: Mapping[Side, Compared]) -> Iterator[Compared]:
    """Give sums and differences of both directions and of the first two wavelengths of each fibre that has them all.

    They are as good as independent, as single readings of one joint are not: two directions share its offset.
    """
    wavelengths = sorted({side.wavelength_nm for side in by_side})[:2]
    own = [
        by_side[side] for nm in wavelengths for is_forward in (True, False) if (side := Side(nm, is_forward)) in by_side
    ]
    if len(own) not in {2, 4}:
        return
    fibres = reduce(np.intersect1d, [one.readings.fibres for one in own])
    rows = [np.searchsorted(one.readings.fibres, fibres).tolist() for one in own]
    values = [one.readings.values_mdb[at] for one, at in zip(own, rows, strict=True)]
    while len(values) > 1:
        values = [_sum_and_difference(*values[at : at + 2]) for at in range(0, len(values), 2)]
    steps_mdb = np.max([one.readings.steps_mdb[at] for one, at in zip(own, rows, strict=True)], axis=0)
    readings = Readings(
        values_mdb=values[0],
        fibres=fibres,
        # Sums and differences are even or odd together: equal ones are twice as likely as their last place says.
        steps_mdb=2 * steps_mdb,
        noise_mdb=isqrt(len(own) * _MEDIAN_OF_NOISE_MDB**2),
    )
    firsts = [[one.traces[row][0] for row in at] for one, at in zip(own, rows, strict=True)]
    traces = list(zip(*firsts, strict=True))
    yield Compared(f"sums and differences of {len(own)} readings at each joint", readings, traces)


def _sum_and_difference(one: Integers, other: Integers) -> Integers:
    is_read = (one != UNREAD) & (other != UNREAD)
    return np.hstack([np.where(is_read, both, UNREAD) for both in (one + other, one - other)])


def _is_same(compared: Compared, close: CloseRows) -> bool:
    """Tell whether some of the traces are the same to the last digit, which is said by itself."""
    one, other = (compared.traces[row] for row in close.rows)
    return any(a.trace.losses_digest == b.trace.losses_digest for a, b in zip(one, other, strict=True))


def _connected(near: Sequence[_Near]) -> Iterator[list[_Near]]:
    """Give together what is about fibres that agree with each other, each directly or through others."""
    leaders: dict[int, int] = {}
    for one in near:
        first, *others = [_leader(leaders, trace.fibre) for trace in one.traces]
        leaders |= dict.fromkeys(others, first)
        leaders[first] = first
    groups: dict[int, list[_Near]] = defaultdict(list)
    for one in near:
        groups[_leader(leaders, one.traces[0].fibre)].append(one)
    return iter(groups.values())


def _leader(leaders: dict[int, int], fibre: int) -> int:
    while (leader := leaders.get(fibre, fibre)) != fibre:
        fibre = leader
    return fibre


def _write_near(group: Sequence[_Near], comparisons: int) -> Suspicion:
    strongest = max(group, key=lambda one: one.close.power)
    traces = [*strongest.traces, *(trace for one in group for trace in one.traces)]
    close, pair = strongest.close, fibres_text(one.fibre for one in strongest.traces)
    more = len({one.fibre for one in traces}) - 2
    among = f"; {more} more agree with them or with each other" if more else ""
    detail = (
        f"{strongest.compared.called} of {pair} differ by {mdb_text(close.apart_mdb)} dB in the middle of "
        f"{close.columns} comparisons, those of neighbouring fibres by {mdb_text(close.scatter_mdb)} dB{among}"
    )
    chance = (
        f"at most 1e-{close.power} for any of {comparisons} pairs compared, by how far neighbouring fibres of this "
        "route differ"
    )
    return write_suspicion(SuspicionKind.NEARLY_SAME_READINGS, traces, detail, chance)
