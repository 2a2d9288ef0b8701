"""How closely fibres agree, place by place, held against how far neighbouring fibres of the same route are apart.

Arrays hold integers alone: their logarithms, and sums of floats, differ between processors.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from worker.judgement.fibre.packed_losses import UNREAD

Integers = NDArray[np.int64]
Claims = NDArray[np.bool_]

# Fewer do not know how far their fibres scatter.
LEAST_FIBRES = 8
_LAGS = (1, 2, 3, 5, 8)
# A spread is known well enough from so many differences.
_MOST_DIFFERENCES = 300
_LEAST_DIFFERENCES = 10
_PROJECTIONS = 8
_MOST_CANDIDATES = 20_000
_MOST_CLOSE = 1000
# Half of the differences lie within the median: the mean density there, and 1.077 times that at 0 where they are
# normal. Neighbouring joints share a section's glass, and so their offsets correlate by -1/2: with n joints in a row
# the density of all together is the root of 2^n / (n + 1) times the product of their own.
_LOG_OF_DENSITY = math.log(0.5 / 2 * 1.08 * math.sqrt(2))
_HALF_OF_NEIGHBOURS = ((0, 0), (0, 1), (1, -1), (1, 0), (1, 1))
# The chance is taken for joints left out too: so many times as often as ways to leave them out.
_LEFT_OUT = (0, 1, 2, 4, 8, 16, 32, 64)


@dataclass(frozen=True, kw_only=True, slots=True)
class Readings:
    """Rows of readings by column, `UNREAD` where there is none; the fibre and the last place of each row.

    Rows come in order of fibre. All are in 0.001 dB; `noise_mdb` is how far two readings of one thing are apart, in the
    middle: fibres are never taken to scatter by less.
    """

    values_mdb: Integers
    fibres: Integers
    steps_mdb: Integers
    noise_mdb: int

    @property
    def fibre_count(self) -> int:
        """How many fibres there are."""
        return int(np.count_nonzero(self._are_first))

    def first_of_each_fibre(self) -> Integers:
        """Return the first row of each fibre."""
        return np.asarray(self.values_mdb[self._are_first])

    @property
    def _are_first(self) -> Claims:
        return np.asarray(np.diff(self.fibres, prepend=-1) != 0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Scatter:
    """How far neighbouring fibres are apart in each column: the median, known where there are enough of them."""

    median_mdb: Integers
    is_known: Claims


class CloseRows(NamedTuple):
    """Rows of two fibres, and how unlikely it is that any two honest fibres agree so: the power of ten, without sign.

    In the middle one of so many columns they are so far apart, and neighbours so far.
    """

    rows: tuple[int, int]
    power: int
    columns: int
    apart_mdb: int
    scatter_mdb: int


def scatter_of(values_mdb: Integers) -> Scatter:
    """Return how far neighbours, row by row, are apart.

    Neighbours rather than any two: fibres of one tube may come of one preform. A few steps apart, so that a fibre
    copied to the next ones does not make up what is usual.
    """
    rows = np.arange(len(values_mdb))
    pairs = np.concatenate([np.stack([rows[lag:], rows[:-lag]], axis=1) for lag in _LAGS if lag < len(rows)])
    sample = pairs[:: -(-len(pairs) // _MOST_DIFFERENCES)]
    one, other = values_mdb[sample[:, 0]], values_mdb[sample[:, 1]]
    is_read = (one != UNREAD) & (other != UNREAD)
    apart_mdb = np.sort(np.where(is_read, np.abs(one - other), np.iinfo(np.int64).max), axis=0)
    counts = is_read.sum(axis=0)
    is_known = counts >= _LEAST_DIFFERENCES
    middle = np.minimum(counts // 2, len(apart_mdb) - 1)
    median_mdb = np.take_along_axis(apart_mdb, middle[None, :], axis=0)[0]
    return Scatter(median_mdb=np.where(is_known, median_mdb, 0), is_known=is_known)


def close_rows(readings: Readings, *, comparisons: int) -> Iterator[CloseRows]:
    """Give the rows of two fibres that agree more closely than chance allows among so many comparisons."""
    if readings.fibre_count < LEAST_FIBRES:
        return
    scatter = scatter_of(readings.first_of_each_fibre())
    medians_mdb = np.maximum(scatter.median_mdb, readings.noise_mdb)
    candidates = _candidates(readings, scatter)
    one, other = (readings.values_mdb[candidates[:, side]] for side in (0, 1))
    is_read = (one != UNREAD) & (other != UNREAD) & scatter.is_known[None, :]
    apart_mdb = np.abs(one - other)
    # Of honest fibres a quarter of the columns is within half the median.
    near = (is_read & (2 * apart_mdb <= medians_mdb[None, :])).sum(axis=1)
    is_close = 8 * near >= 3 * np.maximum(is_read.sum(axis=1), 1)
    for at in np.flatnonzero(is_close)[:_MOST_CLOSE].tolist():
        own, (first, second) = is_read[at], candidates[at].tolist()
        power = power_of_agreement(
            apart_mdb=apart_mdb[at][own].tolist(),
            medians_mdb=medians_mdb[own].tolist(),
            step_mdb=int(readings.steps_mdb[candidates[at]].max()),
            comparisons=comparisons,
        )
        if power:
            middles = (middle_of(values[own]) for values in (apart_mdb[at], medians_mdb))
            yield CloseRows((first, second), power, int(own.sum()), *middles)


def power_of_agreement(*, apart_mdb: Sequence[int], medians_mdb: Sequence[int], step_mdb: int, comparisons: int) -> int:
    r"""Return the power of ten, its sign left out, below which the chance is that any two honest fibres agree so.

    Parameters
    ----------
    apart_mdb : sequence of int, length n
        How far two fibres are apart at each joint. [0.001 dB]
    medians_mdb : sequence of int, length n
        How far neighbouring fibres are apart there, in the middle. [0.001 dB]
    step_mdb : int
        Last place of the readings. [0.001 dB]
    comparisons : int
        How many pairs of fibres were compared. [unitless]

    Returns
    -------
    int
        The greatest k with a chance of at most 10 to the minus k; 0 where there is nothing unlikely in it.

    Notes
    -----
    .. math:: P \le N \binom{n}{k} \prod_i \frac{g}{w_i}\;\frac{\pi^{m/2}}{\Gamma(m/2+1)}
              \Big(\sum_i (\delta_i + q/2)^2\Big)^{m/2}

    The chance to fall into a ball is at most its volume times the greatest density, which is that at 0 where nearer is
    likelier. :math:`w_i` is the median difference with half a last place q, g the density at 0 in its unit, and m the
    number of joints without the k farthest apart: a copy may have been put right at a few. The least of the chances for
    some k counts as often as there are k.
    """
    joints = sorted(zip(apart_mdb, medians_mdb, strict=True))
    tried = [left_out for left_out in _LEFT_OUT if 4 * left_out <= len(joints)]
    least = min(_log_of_chance(joints[: len(joints) - left_out], step_mdb, left_out) for left_out in tried)
    log_of_chance = least + math.log(len(tried) * max(comparisons, 1))
    # Rounded once: the last bits of logarithms differ between machines.
    return max(0, math.floor(round(-log_of_chance / math.log(10), 4)))


def _log_of_chance(joints: Sequence[tuple[int, int]], step_mdb: int, left_out: int) -> float:
    # Twice of all lengths, so that half a last place is whole.
    squares = sum((2 * apart_mdb + step_mdb) ** 2 for apart_mdb, _ in joints)
    half = len(joints) / 2
    log_of_ball = half * math.log(math.pi * squares) - math.lgamma(half + 1)
    log_of_scatter = sum(math.log(2 * median_mdb + step_mdb) for _, median_mdb in joints)
    log_of_ways = math.log(math.comb(len(joints) + left_out, left_out))
    return log_of_ways + len(joints) * _LOG_OF_DENSITY + log_of_ball - log_of_scatter


def _candidates(readings: Readings, scatter: Scatter) -> Integers:
    """Return the rows of two fibres that are near each other in several projections.

    A copy differs little in every column, so it differs little in any sum of them; of honest pairs a quarter is so near
    in one projection, one in 30,000 in all eight.
    """
    projected = _project(readings.values_mdb, scatter)
    quartiles = np.sort(projected, axis=0)[[len(projected) // 4, 3 * len(projected) // 4]]
    # Half a standard deviation, or twice what noise makes of a sum: where all are copies they scatter by less.
    of_noise = 2 * readings.noise_mdb * math.isqrt(readings.values_mdb.shape[1])
    reach = np.maximum((quartiles[1] - quartiles[0]) * 37 // 100, of_noise)
    one, other = _neighbours(projected[:, :3] // reach[:3])
    is_near = readings.fibres[one] != readings.fibres[other]
    for column, within in zip(projected.T, reach, strict=True):
        one, other = one[is_near], other[is_near]
        is_near = np.abs(column[one] - column[other]) <= within
    pairs = np.stack([one[is_near], other[is_near]], axis=1)[:_MOST_CANDIDATES]
    return np.sort(pairs, axis=1)


def _neighbours(cells: Integers) -> tuple[Integers, Integers]:
    """Return rows that lie in one cell of a grid of three dimensions or in neighbouring ones, each pair once.

    So most rows are never compared: time grows with the pairs that are near, not with all.
    """
    places = cells - cells.min(axis=0) + 1
    widths = places.max(axis=0) + 2
    keys = (places[:, 0] * widths[1] + places[:, 1]) * widths[2] + places[:, 2]
    order = np.argsort(keys, kind="stable")
    keys, begins = keys[order], np.arange(len(keys))
    ones, others = [], []
    for row, column in _HALF_OF_NEIGHBOURS:
        ahead = keys + (row * widths[1] + column) * widths[2]
        # The third dimension's neighbours lie side by side; in the row's own cells only what comes after it.
        low = begins + 1 if (row, column) == (0, 0) else np.searchsorted(keys, ahead - 1, side="left")
        counts = np.searchsorted(keys, ahead + 1, side="right") - low
        first = np.repeat(begins, counts)
        second = np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts) + low[first]
        ones.append(order[first])
        others.append(order[second])
    return np.concatenate(ones), np.concatenate(others)


def _project(values_mdb: Integers, scatter: Scatter) -> Integers:
    """Return sums of the columns with signs that change from each joint to the next.

    The glass of a section shows in its two joints with opposite signs: so it counts twice, and does not cancel.
    """
    known = np.flatnonzero(scatter.is_known)
    values = values_mdb[:, known]
    is_read = values != UNREAD
    # What was not read counts as the mean.
    centres = np.where(is_read, values, 0).sum(axis=0) // np.maximum(is_read.sum(axis=0), 1)
    deviations = np.where(is_read, values - centres, 0)
    # No product of matrices: the library takes threads for it, which wait for a core longer than this takes.
    return np.asarray(np.einsum("ij,kj->ik", deviations, _signs(len(known))))


# Each route's directions and wavelengths have as many columns.
@lru_cache(maxsize=8)
def _signs(columns: int) -> Integers:
    signs = [[_sign(column, pattern) for column in range(columns)] for pattern in range(_PROJECTIONS)]
    return np.array(signs, dtype=np.int64)


def _sign(column: int, pattern: int) -> int:
    """Return an entry of a Hadamard matrix: rows that alternate, and are at right angles to each other."""
    return -1 if (column & (pattern << 1 | 1)).bit_count() % 2 else 1


def middle_of(values: Integers) -> int:
    """Return the value in the middle, the upper one of two."""
    return int(np.sort(values)[len(values) // 2])
