"""Losses by source and meter that are the same on several fibres: some are in honest work, and not so many."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from math import comb
from typing import NamedTuple

import numpy as np

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from worker.judgement.fibre.contributions import Contributions, LinkOutline
from worker.judgement.history.validity import Side
from worker.judgement.route.agreement import LEAST_FIBRES, scatter_of
from worker.judgement.route.copies import LEAST_POWER, MOST_NAMED, fibres_text

# All losses of a fibre, or those of one direction: each may be copied from another fibre by itself. Whoever repeats
# figures does so from one fibre to the next, or not. Each of these is looked for, and a chance counts so many times
# more often as its share is smaller than one: the shares add up to one.
_SHARES: Mapping[tuple[bool, ...], tuple[Fraction, Fraction]] = {
    (True, False): (Fraction(1, 2), Fraction(1, 8)),
    (True,): (Fraction(1, 8), Fraction(1, 16)),
    (False,): (Fraction(1, 8), Fraction(1, 16)),
}
# As of a trace's readings: so far are two with a noise of 0.01 dB apart in the middle.
_MEDIAN_OF_NOISE_MDB = 9
_LEAST_CHANCE = Fraction(1, 10**60)


class _Repeated(NamedTuple):
    """Fibres with the same losses, and how unlikely so many are, as the power of ten with its sign left out."""

    power: int
    fibres: tuple[int, ...]
    losses: int


def repeated_link_losses(contributions: Mapping[int, Contributions]) -> Iterator[Suspicion]:
    """Find fibres of which so many have the same losses, to the last digit, as this route's scatter hardly allows."""
    losses: dict[Side, dict[int, LinkOutline]] = defaultdict(dict)
    for fibre, contributed in contributions.items():
        for link in contributed.links:
            losses[Side(link.wavelength_nm, link.is_forward)][fibre] = link
    most = max(map(len, losses.values()), default=0)
    # A side that few fibres have says nothing of the others.
    usual = {side: own for side, own in sorted(losses.items()) if 2 * len(own) > most}
    said: set[int] = set()
    found = [one for ways in _SHARES for one in _repeated(usual, ways)]
    for one in sorted(found, key=lambda one: (-one.losses, one.fibres)):
        # What is the same both ways is the same each way.
        if said.isdisjoint(one.fibres):
            said.update(one.fibres)
            yield _write(one, usual)


def _repeated(losses: Mapping[Side, Mapping[int, LinkOutline]], ways: tuple[bool, ...]) -> Iterator[_Repeated]:
    own_sides = [own for side, own in losses.items() if side.is_forward in ways]
    if {side.is_forward for side in losses} & set(ways) != set(ways):
        return
    fibres = sorted(set.intersection(*map(set, own_sides)))
    if len(fibres) < LEAST_FIBRES:
        return
    rows = list(zip(*([own[fibre].loss_mdb for fibre in fibres] for own in own_sides), strict=True))
    of_two = _chance_of_two(rows)
    groups: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for fibre, row in zip(fibres, rows, strict=True):
        groups[row].append(fibre)
    repeats = sum(one == next_one for one, next_one in pairwise(rows))
    in_runs, in_groups = _SHARES[ways]
    by_runs = _power(comb(len(rows) - 1, repeats) * of_two**repeats / in_runs)
    runs = {row for row, next_row in pairwise(rows) if row == next_row}
    sizes = {len(own) for own in groups.values()} - {1}
    by_group = {size: _power(comb(len(rows), size) * of_two ** (size - 1) / in_groups) for size in sizes}
    for row, own in groups.items():
        power = max(by_group.get(len(own), 0), by_runs if row in runs else 0)
        if power >= LEAST_POWER:
            yield _Repeated(power, tuple(own), len(own_sides))


def _chance_of_two(rows: Sequence[tuple[int, ...]]) -> Fraction:
    """Return the chance that two honest fibres have the same losses.

    The first loss scatters with the glass and the joints, the others are taken by how far they are from it: these
    scatter with what differs between directions and wavelengths, and the noise of the meter.
    """
    values = np.array(rows, dtype=np.int64)
    step_mdb = 10 if not (values % 10).any() else 1
    values[:, 1:] -= values[:, :1]
    medians_mdb = np.maximum(scatter_of(values).median_mdb, _MEDIAN_OF_NOISE_MDB)
    chance = Fraction(1)
    for median_mdb in medians_mdb.tolist():
        chance *= min(Fraction(1), Fraction(27, 50) * Fraction(step_mdb, 2 * median_mdb + step_mdb))
    return chance


def _power(chance: Fraction) -> int:
    power, chance = 0, max(chance, _LEAST_CHANCE)
    while chance * 10 <= 1:
        chance *= 10
        power += 1
    return power


def _write(one: _Repeated, losses: Mapping[Side, Mapping[int, LinkOutline]]) -> Suspicion:
    named = "loss" if one.losses == 1 else f"{one.losses} losses"
    records = [own[fibre].record for fibre in one.fibres for own in losses.values() if fibre in own]
    of = len({fibre for own in losses.values() for fibre in own})
    return Suspicion(
        kind=SuspicionKind.REPEATED_LINK_LOSSES,
        fibres=one.fibres[:MOST_NAMED],
        records=tuple(records[:MOST_NAMED]),
        detail=f"{fibres_text(one.fibres)} have the same {named} by source and meter to the last digit",
        chance=f"at most 1e-{one.power} among {of} fibres, by how far neighbours on this route differ",
    )
