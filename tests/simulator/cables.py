"""Draw a route's cables as designed and as built: sheath, slack, closures moved, tubes and fibres in them."""

from dataclasses import dataclass

import numpy as np

from tests.simulator.draws import Floats, draw_around, draw_between, rounded, start
from tests.simulator.geometry import Geometry
from tests.simulator.splicing import RIBBON
from tests.simulator.truth import fibre_lengths_m

_SLACK_M = 20.0
_LEAST_WITH_COIL_M = 100.0
_MOST_SLACK_ERROR_M = 10.0
_SHARE_WITH_SHORT_SECTION = 0.25
_SHARE_WITHOUT_STATED_EXCESS = 0.3


@dataclass(frozen=True, kw_only=True)
class Cables:
    """Each section's cable and slack as designed, and by how much it was built longer."""

    lengths_m: Floats
    slacks_m: Floats
    built_longer_m: Floats

    def built_lengths_m(self, source: np.random.Generator, excesses_percent: Floats) -> Floats:
        """Draw how much slack was really left, and return each section's fibre as built."""
        errors_m = draw_between(source, self.slacks_m.shape, low=-_MOST_SLACK_ERROR_M, high=_MOST_SLACK_ERROR_M)
        # Where no coil is left, the marks on the sheath are off by a fifth of that.
        slacks_m = self.slacks_m + np.where(self.slacks_m > 0, errors_m, errors_m / 5)
        return lengths_m(self.lengths_m + self.built_longer_m, slacks_m, excesses_percent)


def draw_excess(source: np.random.Generator, geometry: Geometry) -> tuple[float, Floats]:
    """Draw what the design states of the excess, and what each section's is."""
    sections = geometry.closures + 1
    if geometry.excess_percent is not None:
        low, high = geometry.excess_percent
        return round((low + high) / 2, 2), draw_between(source, (sections,), low=low, high=high)
    true_percent = float(rounded(draw_between(source, (), low=0, high=2.6), 2))
    is_stated = source.random() >= _SHARE_WITHOUT_STATED_EXCESS
    own = np.clip(draw_around(source, (sections,), centre=true_percent, deviation=0.1), 0, 3)
    return (true_percent if is_stated else 0.0), own


def lengths_m(cables_m: Floats, slacks_m: Floats, excesses_percent: Floats) -> Floats:
    return fibre_lengths_m(
        cable_lengths_m=cables_m.tolist(), slacks_m=slacks_m.tolist(), excesses_percent=excesses_percent.tolist()
    )


def lengths_of_fibres(mean_m: Floats, geometry: Geometry, *, seed: int, fibres: int) -> Floats:
    """Return each fibre's sections: tubes differ by their turns in the cable, ends by what people laid into trays."""
    source, sections = start(seed, 21), len(mean_m)
    tubes = -(-fibres // RIBBON)
    by_tube = draw_around(source, (tubes, sections), centre=0, deviation=geometry.tube_percent / 100)
    by_fibre = draw_around(source, (fibres, sections), centre=0, deviation=geometry.fibre_percent / 100)
    in_trays_m = draw_between(source, (fibres, sections), low=-geometry.tray_slack_m, high=geometry.tray_slack_m)
    own = by_fibre + np.repeat(by_tube, RIBBON, axis=0)[:fibres]
    return np.asarray(np.maximum(mean_m * (1 + own) + in_trays_m, 1.0))


def draw_cables(source: np.random.Generator, geometry: Geometry) -> Cables:
    """Draw the sections' sheath: a short or a long route, a quarter of them with two sites close together."""
    sections = geometry.closures + 1
    scale = draw_between(source, (), low=geometry.length_scale[0], high=geometry.length_scale[1])
    cables_m = scale * draw_between(source, (sections,), low=500, high=3000)
    if source.random() < _SHARE_WITH_SHORT_SECTION:
        cables_m[source.integers(sections)] = draw_between(source, (), low=5, high=150)
    if geometry.mixed_m:
        drawn = [draw_between(source, (sections,), low=low, high=high) for low, high in geometry.mixed_m]
        cables_m = np.choose(source.integers(len(drawn), size=sections), drawn)
    slacks_m, longer_m = np.full(sections, _SLACK_M), np.zeros(sections)
    if geometry.ends_m is not None:
        near_ends = [*range(geometry.end_sections), *range(-geometry.end_sections, 0)]
        cables_m[near_ends] = draw_between(source, (len(near_ends),), low=geometry.ends_m[0], high=geometry.ends_m[1])
    if geometry.mixed_m or geometry.end_sections > 1:
        slacks_m[cables_m < _LEAST_WITH_COIL_M] = 0.0
    groups = _draw_groups(source, geometry) if geometry.groups else []
    for group in groups:
        # Between closures of one group the cable's marks are read from the sheath, with no coil between them.
        cables_m[group[:-1]] = draw_between(source, (len(group) - 1,), low=geometry.gap_m[0], high=geometry.gap_m[1])
        slacks_m[group[:-1]] = 0.0
        moved_m = draw_between(source, (), low=-geometry.group_moved_m, high=geometry.group_moved_m)
        _move(longer_m, cables_m, before=group[0] - 1, behind=group[-1], by_m=float(moved_m))
    grouped = {closure for group in groups for closure in (*group, group[0] - 1)}
    for closure in range(1, sections if geometry.moved_share else 0):
        if closure not in grouped and source.random() < geometry.moved_share:
            moved_m = draw_between(source, (), low=-geometry.moved_m, high=geometry.moved_m)
            _move(longer_m, cables_m, before=closure - 1, behind=closure, by_m=float(moved_m))
    return Cables(lengths_m=rounded(cables_m, 1), slacks_m=slacks_m, built_longer_m=longer_m)


def _move(longer_m: Floats, cables_m: Floats, *, before: int, behind: int, by_m: float) -> None:
    """Build what stands between two sections farther from A, as far as their cables allow."""
    room_m = 0.4 * float(min(cables_m[before] + longer_m[before], cables_m[behind] + longer_m[behind]))
    moved_m = min(max(by_m, -room_m), room_m)
    longer_m[before] += moved_m
    longer_m[behind] -= moved_m


def _draw_groups(source: np.random.Generator, geometry: Geometry) -> list[list[int]]:
    """Draw runs of two to four neighbouring closures, by their indices; a closure's section behind has its index."""
    share = geometry.closures // geometry.groups
    groups: list[list[int]] = []
    for number in range(geometry.groups):
        size = int(source.integers(2, 5))
        first = number * share + int(source.integers(2, share - size))
        groups.append(list(range(first, first + size)))
    return groups
