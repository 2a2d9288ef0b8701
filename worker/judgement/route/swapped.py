"""Fibres whose traces from one end are each other's: they fit the other's from the other end, and not their own.

A joint's offset shows from both ends with opposite signs, so what a fibre reads from B tells what it reads from A, but
for twice the joint's loss, which scatters far less.
"""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from math import comb
from typing import NamedTuple

import numpy as np

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from worker.judgement.fibre.packed_losses import UNREAD
from worker.judgement.history.validity import Side
from worker.judgement.numbers.exact import mdb_text
from worker.judgement.route.agreement import (
    LEAST_FIBRES,
    Claims,
    Integers,
    middle_of,
    power_of_agreement,
    scatter_of,
)
from worker.judgement.route.copies import LEAST_POWER, Compared, write_suspicion

# Labels are mixed up within a tube, or with the next one.
_MOST_APART = 12
# By so many times the other's trace fits better than the own: like fibres fit each other as well as themselves.
_TIMES_NEARER = Fraction(3, 2)
_LEAST_OF_EACH = 2
# Three times the middle misfit of all fibres is twice a normal deviation: 0.043 of honest readings are beyond, fewer
# than a tenth of any that scatter somewhat otherwise.
_TIMES_MIDDLE = 3
_BEYOND = Fraction(1, 10)
# Beyond this a smaller chance says no more.
_MOST_POWER = 60


class _BothEnds(NamedTuple):
    """What fibres read from A, and what their readings from B tell of it; of the first trace of each, by row.

    `misfit_mdb` is how far the two are apart on most fibres, and `scatter_mdb` how far neighbours' readings are.
    """

    from_a_mdb: Integers
    told_by_b_mdb: Integers
    from_a_is_read: Claims
    from_b_is_read: Claims
    misfit_mdb: Integers
    scatter_mdb: Integers
    fibres: Integers
    rows: tuple[Integers, Integers]
    steps_mdb: Integers

    def apart(self, from_a: Integers, from_b: Integers) -> tuple[Integers, Claims]:
        """Return how far some rows from A are from what others from B tell, and where both are read."""
        is_read = self.from_a_is_read[from_a] & self.from_b_is_read[from_b]
        return np.where(is_read, np.abs(self.from_a_mdb[from_a] - self.told_by_b_mdb[from_b]), 0), is_read


class _Swapped(NamedTuple):
    power: int
    pair: tuple[int, int]
    joints: int
    own_mdb: int
    crossed_mdb: int


def swapped_directions(by_side: Mapping[Side, Compared]) -> Iterator[Suspicion]:
    """Find pairs of fibres of which each one's trace from B is the other's."""
    both = {
        nm: sides
        for nm in sorted({side.wavelength_nm for side in by_side})
        if len(sides := [by_side[side] for is_forward in (True, False) if (side := Side(nm, is_forward)) in by_side])
        == 2
        and min(side.readings.fibre_count for side in sides) >= LEAST_FIBRES
    }
    said: set[tuple[int, int]] = set()
    for nm, sides in both.items():
        ends = _both_ends(*sides)
        for one in _find(ends, wavelengths=len(both)):
            first, second = (int(ends.fibres[at]) for at in one.pair)
            if (first, second) not in said:
                said.add((first, second))
                yield _write(one, ends, sides, nm)


def _both_ends(there: Compared, back: Compared) -> _BothEnds:
    fibres = np.intersect1d(there.readings.fibres, back.readings.fibres)
    rows = np.searchsorted(there.readings.fibres, fibres), np.searchsorted(back.readings.fibres, fibres)
    from_a, from_b = there.readings.values_mdb[rows[0]], back.readings.values_mdb[rows[1]]
    is_read = (from_a != UNREAD) & (from_b != UNREAD)
    # Twice the loss of a joint on most fibres, so that what is left of a sum is what one fibre has more.
    told_by_b = _middle_of_columns(from_a + from_b, is_read) - from_b
    scatter = scatter_of(from_a)
    return _BothEnds(
        from_a_mdb=from_a,
        told_by_b_mdb=told_by_b,
        from_a_is_read=(from_a != UNREAD) & scatter.is_known[None, :],
        from_b_is_read=from_b != UNREAD,
        misfit_mdb=np.maximum(_middle_of_columns(np.abs(from_a - told_by_b), is_read), there.readings.noise_mdb),
        scatter_mdb=np.maximum(scatter.median_mdb, there.readings.noise_mdb),
        fibres=fibres,
        rows=rows,
        steps_mdb=np.maximum(there.readings.steps_mdb[rows[0]], back.readings.steps_mdb[rows[1]]),
    )


def _middle_of_columns(values: Integers, is_read: Claims) -> Integers:
    counts = is_read.sum(axis=0)
    in_order = np.sort(np.where(is_read, values, np.iinfo(np.int64).max), axis=0)
    middle = np.minimum(counts // 2, len(values) - 1)
    found: Integers = np.take_along_axis(in_order, middle[None, :], axis=0)[0]
    return np.where(counts > 0, found, 0)


def _find(ends: _BothEnds, *, wavelengths: int) -> Iterator[_Swapped]:
    count = len(ends.fibres)
    # No farther than neighbours are, so that one bad joint does not decide.
    bound_mdb = 2 * ends.scatter_mdb[None, :]
    every = np.arange(count)
    apart, is_read = ends.apart(every, every)
    usual = np.where(is_read, ends.scatter_mdb[None, :], 0).sum(axis=1)
    # As far from itself as half of what neighbours are from each other: hardly an honest fibre is.
    unlike = 2 * np.minimum(apart, bound_mdb).sum(axis=1) > usual
    suspected = np.flatnonzero(unlike).tolist()
    pairs = [(one, other) for one in suspected for other in suspected if 0 < other - one <= _MOST_APART]
    if not pairs:
        return
    first, second = np.array(pairs, dtype=np.int64).T
    own = ends.apart(first, first), ends.apart(second, second)
    crossed = ends.apart(first, second), ends.apart(second, first)
    (own_sum, own_count), (crossed_sum, crossed_count) = (
        (
            sum(np.minimum(apart, bound_mdb).sum(axis=1) for apart, _ in parts),
            sum(is_read.sum(axis=1) for _, is_read in parts),
        )
        for parts in (own, crossed)
    )
    times, of = _TIMES_NEARER.as_integer_ratio()
    for at in np.flatnonzero(of * own_sum * crossed_count > times * crossed_sum * own_count).tolist():
        found = _weigh(ends, pairs[at], at, own=own, crossed=crossed, comparisons=_MOST_APART * count * wavelengths)
        if found.power >= LEAST_POWER:
            yield found


def _weigh(
    ends: _BothEnds,
    pair: tuple[int, int],
    at: int,
    *,
    own: Sequence[tuple[Integers, Claims]],
    crossed: Sequence[tuple[Integers, Claims]],
    comparisons: int,
) -> _Swapped:
    """Return how unlikely two fibres fit each other so well, and themselves so badly, the latter by joints far off."""
    own_mdb, misfit_mdb = _flat(own, at, ends.misfit_mdb)
    crossed_mdb, scatter_mdb = _flat(crossed, at, ends.scatter_mdb)
    fit = power_of_agreement(
        apart_mdb=crossed_mdb,
        medians_mdb=scatter_mdb,
        step_mdb=int(ends.steps_mdb[list(pair)].max()),
        comparisons=1,
    )
    beyond = sum(apart > _TIMES_MIDDLE * middle for apart, middle in zip(own_mdb, misfit_mdb, strict=True))
    misfit = _power_of_misfit(beyond, of=len(own_mdb))
    # One of the two alone is no swap, however unlikely. The number of digits is no less than the power of comparisons.
    power = fit + misfit - len(str(comparisons)) if min(fit, misfit) >= _LEAST_OF_EACH else 0
    return _Swapped(power, pair, len(crossed_mdb), middle_of(np.array(own_mdb)), middle_of(np.array(crossed_mdb)))


def _flat(parts: Sequence[tuple[Integers, Claims]], at: int, middles_mdb: Integers) -> tuple[list[int], list[int]]:
    apart_mdb = [value for apart, is_read in parts for value in apart[at][is_read[at]].tolist()]
    return apart_mdb, [value for _, is_read in parts for value in middles_mdb[is_read[at]].tolist()]


def _power_of_misfit(beyond: int, *, of: int) -> int:
    """Return the power of ten below which the chance is that so many joints of two honest fibres are far off."""
    chance = sum(
        (comb(of, count) * _BEYOND**count * (1 - _BEYOND) ** (of - count) for count in range(beyond, of + 1)),
        Fraction(0),
    )
    power = 0
    while chance * 10 <= 1 and power < _MOST_POWER:
        chance, power = chance * 10, power + 1
    return power


def _write(one: _Swapped, ends: _BothEnds, sides: Sequence[Compared], wavelength_nm: int) -> Suspicion:
    traces = [
        trace
        for at in one.pair
        for side, rows in zip(sides, ends.rows, strict=True)
        for trace in side.traces[int(rows[at])]
    ]
    first, second = (int(ends.fibres[at]) for at in one.pair)
    detail = (
        f"at {wavelength_nm} nm the traces from B of fibres {first} and {second} fit each other's from A, off by "
        f"{mdb_text(one.crossed_mdb)} dB in the middle of {one.joints} comparisons, and not their own, off by "
        f"{mdb_text(one.own_mdb)} dB"
    )
    chance = (
        f"at most 1e-{one.power} for any fibres at most {_MOST_APART} numbers apart, by how far neighbouring fibres of "
        "this route differ, and each fibre's two directions"
    )
    return write_suspicion(SuspicionKind.SWAPPED_DIRECTIONS, traces, detail, chance)
