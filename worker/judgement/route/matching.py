"""Which of the losses that a cable's fibres share belong to which of its sites: in order, section by section.

What is built otherwise than designed is a section's length, so what counts is how much each section would be longer or
shorter, and not how far a site is off: everything behind a longer section lies farther out.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from worker.judgement.route.clusters import Cluster

# How many sites without a loss, or losses without a site, may follow each other.
_MOST_SKIPPED = 4
# Excess differs by section within this share of its length, common practice (no source): 0.4 to 1.8 %.
_EXCESS_PERCENT = 1


class Unit(NamedTuple):
    """Sites by index, and where the design has them: one, or several that a pulse certainly shows as one event.

    So many fibres have a joint there.
    """

    sites: tuple[int, ...]
    at_cm: tuple[int, ...]
    fibres: int

    @property
    def middle_cm(self) -> int:
        """Where the middle of it lies."""
        return (self.at_cm[0] + self.at_cm[-1]) // 2


class Reaches(NamedTuple):
    """How far a joint may lie off, how far off it is as designed, where the span ends, and how many fibres show it.

    What lies nearer to an end than `hidden_cm` nobody sights, for it may be the end's; what lies no farther from the
    next one than `merged_cm` may show as one event with it.
    """

    off_spot_cm: int
    tolerance_cm: int
    ends_cm: tuple[int, int]
    fibres: int
    hidden_cm: int
    merged_cm: int


class _Choice(NamedTuple):
    """A unit with clusters that may be its own, by index: those from `first` to before `behind`.

    Its sites would lie `inner_cm` otherwise from each other than designed. Without clusters it lies so near to an end
    that it is not sighted.
    """

    unit: int
    first: int
    behind: int
    designed_cm: int
    found_cm: int
    inner_cm: int = 0

    @property
    def off_cm(self) -> int:
        return self.found_cm - self.designed_cm

    def shares(self, other: "_Choice") -> bool:
        """Tell whether another has some of the same clusters."""
        return max(self.first, other.first) < min(self.behind, other.behind)


Matched = tuple[Unit, Sequence[Cluster]]


def match_units(units: Sequence[Unit], clusters: Sequence[Cluster], reaches: Reaches) -> list[Matched]:
    """Return the clusters of each unit that certainly has some; where two ways are as likely, neither is taken."""
    choices = list(_choices(units, clusters, reaches))
    # On nearly every route its sites are so far apart that no two could be meant.
    best = choices if _is_plain(choices) else _Chain(choices, units, clusters, reaches).certain()
    return [(units[one.unit], clusters[one.first : one.behind]) for one in best if one.behind > one.first]


def _choices(units: Sequence[Unit], clusters: Sequence[Cluster], reaches: Reaches) -> Iterator[_Choice]:
    """Give, unit by unit, all clusters that may be its own: as many in a row as it has sites, or fewer, or none."""
    first_cm, last_cm = reaches.ends_cm
    at_cm, begin = [cluster.at_cm for cluster in clusters], 0
    for index, unit in enumerate(units):
        middle_cm, most = unit.middle_cm, len(unit.sites)
        # Behind sections of another excess everything lies off by the sum of them, held by the two ends.
        drift_cm = min(middle_cm - first_cm, last_cm - middle_cm) * _EXCESS_PERCENT // 100
        within_cm = reaches.off_spot_cm + max(drift_cm, 0)
        begin = bisect_left(at_cm, unit.at_cm[0] - within_cm, begin)
        for first in range(begin, bisect_right(at_cm, unit.at_cm[-1] + within_cm, begin)):
            for behind in range(first + 1, min(first + most, len(clusters)) + 1):
                found_cm = (at_cm[first] + at_cm[behind - 1]) // 2
                if abs(found_cm - middle_cm) <= within_cm:
                    inner_cm = _inner_cm(unit, clusters[first:behind]) if most > 1 else 0
                    yield _Choice(index, first, behind, middle_cm, found_cm, inner_cm)
        for edge_cm, place in (
            (min(first_cm + reaches.hidden_cm, middle_cm), 0),
            (max(last_cm - reaches.hidden_cm, middle_cm), len(clusters)),
        ):
            if abs(edge_cm - middle_cm) <= within_cm:
                yield _Choice(index, place, place, middle_cm, edge_cm)


def _inner_cm(unit: Unit, taken: Sequence[Cluster]) -> int:
    if len(taken) != len(unit.sites):
        return 0
    off_cm = [cluster.at_cm - at_cm for cluster, at_cm in zip(taken, unit.at_cm, strict=True)]
    return sum(abs(behind - own) for own, behind in pairwise(off_cm))


def _is_plain(choices: Sequence[_Choice]) -> bool:
    """Tell whether each unit has one choice at most, and no cluster is in two."""
    return all(one.unit < other.unit and one.behind <= other.first for one, other in pairwise(choices))


class _Chain:
    """All ways to give units their clusters in order, each at the cost of sections that are not as designed."""

    def __init__(
        self, choices: Sequence[_Choice], units: Sequence[Unit], clusters: Sequence[Cluster], reaches: Reaches
    ) -> None:
        first_cm, last_cm = reaches.ends_cm
        start = _Choice(-1, 0, 0, first_cm, first_cm)
        end = _Choice(len(units), len(clusters), len(clusters), last_cm, last_cm)
        self._choices = [start, *choices, end]
        self._units, self._clusters, self._reaches = units, clusters, reaches
        # To leave a site without a loss, or a loss of all fibres without a site, takes more than any joint lies off.
        self._alone_cm = 2 * reaches.off_spot_cm
        self._merged_with = _merged_with(units, merged_cm=reaches.merged_cm)
        self._forward, self._before = self._costs(range(len(self._choices)), is_forward=True)
        self._backward, _ = self._costs(range(len(self._choices) - 1, -1, -1), is_forward=False)

    def certain(self) -> list[_Choice]:
        """Return the choices of the cheapest way that no other way comes near."""
        way = [len(self._choices) - 1]
        while self._before[way[-1]] is not None:
            way.append(self._before[way[-1]])  # type: ignore[arg-type]
        if way[-1] != 0:
            return []
        way.reverse()
        around = zip(way, way[1:], way[2:], strict=False)
        return [self._choices[own] for near, own, far in around if self._is_certain(near, own, far, way)]

    def _is_certain(self, near: int, own: int, far: int, way: Sequence[int]) -> bool:
        choice, least = self._choices[own], self._forward[-1]
        others = (
            self._forward[index] + self._backward[index]
            for index, one in enumerate(self._choices)
            if index != own and (one.unit == choice.unit or one.shares(choice))
        )
        without = self._forward[near] + self._step(near, far) + self._backward[far]
        if min([without, *others]) - least < self._reaches.tolerance_cm:
            return False
        expected_cm = (self._choices[near].off_cm + self._choices[far].off_cm) // 2
        if abs(choice.off_cm - expected_cm) <= self._reaches.tolerance_cm:
            return True
        # One of two losses near a site that has moved is no closure: nothing tells which of them is.
        taken = {index for one in way for index in range(self._choices[one].first, self._choices[one].behind)}
        at_cm = choice.designed_cm + expected_cm
        return all(
            index in taken or abs(cluster.at_cm - at_cm) > self._reaches.off_spot_cm
            for index, cluster in enumerate(self._clusters)
        )

    def _costs(self, order: range, *, is_forward: bool) -> tuple[list[int], list[int | None]]:
        """Return what it costs at least to come to each choice from one end, and from which other choice."""
        never = (len(self._choices) + len(self._clusters) + 1) * 4 * self._alone_cm
        costs, before = [never] * len(self._choices), list[int | None]([None] * len(self._choices))
        costs[order[0]] = 0
        for place, own in enumerate(order):
            for other in reversed(order[:place]):
                near, far = (other, own) if is_forward else (own, other)
                skipped = self._choices[far].unit - self._choices[near].unit - 1
                if skipped > _MOST_SKIPPED:
                    break
                if skipped < 0 or self._choices[far].first < self._choices[near].behind:
                    continue
                cost = costs[other] + self._step(near, far)
                if cost < costs[own]:
                    costs[own], before[own] = cost, other
        return costs, before

    def _step(self, near: int, far: int) -> int:
        """Return what it costs to go from one choice to the next with nothing between."""
        one, other = self._choices[near], self._choices[far]
        shown = {self._merged_with[unit] for unit in (one.unit, other.unit) if 0 <= unit < len(self._units)}
        unseen = sum(
            self._units[unit].fibres for unit in range(one.unit + 1, other.unit) if self._merged_with[unit] not in shown
        )
        passed = sum(cluster.fibres for cluster in self._clusters[one.behind : other.first])
        moved = abs(other.off_cm - one.off_cm) + other.inner_cm
        return moved + (unseen + passed) * self._alone_cm // self._reaches.fibres


def _merged_with(units: Sequence[Unit], *, merged_cm: int) -> list[int]:
    """Return of each unit the first one of those that may be one event with it."""
    first = [0] * len(units)
    for index, (near, far) in enumerate(pairwise(units), start=1):
        first[index] = first[index - 1] if far.at_cm[0] - near.at_cm[-1] <= merged_cm else index
    return first
