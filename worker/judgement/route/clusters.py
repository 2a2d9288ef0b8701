"""Where several fibres that share their closures show a loss: clusters of what each of them shows by itself."""

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import chain, pairwise
from typing import NamedTuple

import numpy as np

from worker.judgement.route.agreement import Integers
from worker.judgement.traces.sightings import SpanSightings

_LEAST_SUPPORT = 2
_SUPPORT_PERCENT = 30
# A splice loses about as much at either wavelength; what loses more the longer the wave is a bend, a kinked cable too.
_BEND_RISE_MDB = 40
# In place of a rise that no two wavelengths show.
_NO_RISE = np.iinfo(np.int64).max


class Cluster(NamedTuple):
    """Where so many fibres show a loss, and the middle distance of theirs from there; a bend is no joint."""

    at_cm: int
    spread_cm: int
    fibres: int
    is_bend: bool


class _Sightings(NamedTuple):
    """What fibres show, in order from A: where, on which of them, and how much more it loses the longer the wave."""

    at_cm: Integers
    fibres: Integers
    rises_mdb: Integers


def least_support(fibres: int) -> int:
    """Return how many of some fibres have to show what all of them share."""
    return max(_LEAST_SUPPORT, -(-fibres * _SUPPORT_PERCENT // 100))


def find_clusters(own: Mapping[int, SpanSightings], *, gap_cm: int) -> list[Cluster]:
    """Return where several fibres show a loss, in order from A: each of theirs is no farther from the next."""
    seen = _in_order(own)
    if not len(seen.at_cm):
        return []
    begins = np.flatnonzero(np.diff(seen.at_cm) > gap_cm) + 1
    fibres, runs = seen.fibres.tolist(), pairwise([0, *begins.tolist(), len(seen.at_cm)])
    firsts = [first for run in runs for first in _parts(seen.at_cm, fibres, *run)]
    return list(map(Cluster, *_clusters(seen, np.array(firsts, dtype=np.int64))))


def _in_order(own: Mapping[int, SpanSightings]) -> _Sightings:
    at_cm = np.array(list(chain.from_iterable([one.at_cm for one in own.values()])), dtype=np.int64)
    fibres = np.repeat(np.array(list(own), dtype=np.int64), [len(one.at_cm) for one in own.values()])
    rises_mdb = [_NO_RISE if rise is None else rise for one in own.values() for rise in one.rise_mdb]
    order = np.lexsort((fibres, at_cm))
    return _Sightings(at_cm[order], fibres[order], np.array(rises_mdb, dtype=np.int64)[order])


def _parts(at_cm: Integers, fibres: Sequence[int], first: int, behind: int) -> list[int]:
    """Part sightings, each near the next, into as many clusters as most of their fibres show; return their firsts."""
    own = fibres[first:behind]
    if len(set(own)) == len(own):
        return [first]
    per_fibre = sorted(Counter(own).values(), reverse=True)
    least = least_support(len(per_fibre))
    parts = per_fibre[least - 1] if len(per_fibre) >= least else 1
    # Where the gaps between them are widest.
    gaps_cm = np.diff(at_cm[first:behind])
    widest = np.argsort(-gaps_cm, kind="stable")[: parts - 1]
    return [first, *sorted((first + 1 + widest).tolist())]


def _clusters(seen: _Sightings, firsts: Integers) -> Sequence[Sequence[int]]:
    """Return the members of all clusters, each a column: medians, of two the lower, and counts of rows in order."""
    sizes = np.diff(firsts, append=len(seen.at_cm))
    of_row = np.repeat(np.arange(len(firsts)), sizes)
    middles = firsts + (sizes - 1) // 2
    at_cm = seen.at_cm[middles]
    apart_cm = np.abs(seen.at_cm - at_cm[of_row])
    spread_cm = apart_cm[np.lexsort((apart_cm, of_row))][middles]
    fibres = np.bincount(of_row[_is_first_of_its_fibre(seen.fibres, of_row)], minlength=len(firsts))
    rises_mdb = seen.rises_mdb[np.lexsort((seen.rises_mdb, of_row))]
    known = np.bincount(of_row[seen.rises_mdb != _NO_RISE], minlength=len(firsts))
    is_told = 2 * known > sizes
    # Of an even number of rises the mean of the two in the middle.
    lower, upper = (rises_mdb[firsts + np.where(is_told, place, 0)] for place in ((known - 1) // 2, known // 2))
    is_bend = is_told & (np.where(is_told, lower + upper, 0) >= 2 * _BEND_RISE_MDB)
    return [column.tolist() for column in (at_cm, spread_cm, fibres, is_bend)]


def _is_first_of_its_fibre(fibres: Integers, of_row: Integers) -> Integers:
    """Return the rows of which each shows its fibre for the first time in its cluster."""
    order = np.lexsort((fibres, of_row))
    changes = (np.diff(fibres[order], prepend=-1) != 0) | (np.diff(of_row[order], prepend=-1) != 0)
    return np.asarray(order[changes])
