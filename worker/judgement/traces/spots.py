"""Where a cable's joints really lie: one spot for each site, shared by fibres that lie in the same tubes."""

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import round_half_even, to_last_place

# What the fibres of a tube know their closures' spots to; a finer step would only follow each new trace's noise.
SPOT_STEP_M = 1
# An excess is kept in hundredths of a percent.
_WHOLE = 10_000


class Spot(NamedTuple):
    """Where the joints of a site lie, in metres of the design's fibre from A, and how far from there one may be.

    So many of the fibres show it, none where the middle of other tubes stands in.
    """

    from_a_m: int
    within_m: int
    fibres: int


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Spots:
    """How far from A the sites are for some fibres of a route, and how far from there an event of theirs may lie.

    Where the fibres did not tell, it is as designed (moved as its neighbours are), and nothing is said of how far.
    """

    layout: Layout
    offsets_um: tuple[int, ...]
    within_um: tuple[int | None, ...]

    @property
    def is_designed(self) -> bool:
        """Tell whether every site is where the design has it."""
        return self.offsets_um == self.layout.site_offsets_um

    def are(self, other: "Spots") -> bool:
        """Tell whether others are the same."""
        return (self.offsets_um, self.within_um) == (other.offsets_um, other.within_um)

    def in_design_um(self, from_a_um: int) -> int:
        """Return where the design has what lies so far from A, by the two sites around it."""
        designed_um, own_um = self.layout.site_offsets_um, self.offsets_um
        if not 0 < from_a_um < own_um[-1]:
            return from_a_um
        first = bisect_right(own_um, from_a_um) - 1
        return _between(from_a_um, own_um[first : first + 2], designed_um[first : first + 2])


class SpotGroup(NamedTuple):
    """Fibres that lie in the same tubes, and where their sites were found, by site index."""

    fibres: tuple[int, ...]
    found: Mapping[int, Spot]


@dataclass(frozen=True, slots=True, eq=False)
class RouteSpots:
    """The spots of a route's fibres; a fibre in no group has its sites where the design puts them."""

    layout: Layout
    groups: tuple[SpotGroup, ...]
    _by_fibre: dict[int, Spots]

    @classmethod
    def as_designed(cls, layout: Layout) -> "RouteSpots":
        """Return that every site is where the design puts it."""
        return cls(layout, (), {})

    @classmethod
    def of_groups(cls, layout: Layout, groups: Iterable[SpotGroup]) -> "RouteSpots":
        """Lay groups out over their fibres."""
        kept = tuple(groups)
        by_fibre: dict[int, Spots] = {}
        for group in kept:
            by_fibre |= dict.fromkeys(group.fibres, located_spots(layout, group.found))
        return cls(layout, kept, by_fibre)

    def of(self, fibre: int) -> Spots:
        """Return where a fibre's sites are."""
        return self._by_fibre.get(fibre) or designed_spots(self.layout)


@lru_cache(maxsize=64)
def designed_spots(layout: Layout) -> Spots:
    """Return the sites where the design has them."""
    offsets_um = layout.site_offsets_um
    return Spots(layout=layout, offsets_um=offsets_um, within_um=(None,) * len(offsets_um))


def located_spots(layout: Layout, found: Mapping[int, Spot]) -> Spots:
    """Return the sites where fibres show them, by site index; `found` ascend as the sites do."""
    designed_um = layout.site_offsets_um
    last = len(designed_um) - 1
    known_um = {0: 0, last: designed_um[-1], **{site: spot.from_a_m * 1_000_000 for site, spot in found.items()}}
    offsets_um = [0] * len(designed_um)
    for near, far in pairwise(sorted(known_um)):
        ends_um = (known_um[near], known_um[far])
        for site in range(near, far + 1):
            offsets_um[site] = _between(designed_um[site], (designed_um[near], designed_um[far]), ends_um)
    return Spots(
        layout=layout,
        offsets_um=tuple(offsets_um),
        within_um=tuple(found[site].within_m * 1_000_000 if site in found else None for site in range(last + 1)),
    )


def _between(at_um: int, own_um: tuple[int, ...], other_um: tuple[int, ...]) -> int:
    """Return what lies between two ends as the share of its way between two others."""
    (low_um, high_um), (other_low_um, other_high_um) = own_um, other_um
    if high_um == low_um:
        return other_low_um
    return other_low_um + (at_um - low_um) * (other_high_um - other_low_um) // (high_um - low_um)


class Location(NamedTuple):
    """A spot in a section, by the cable between it and the section's start, slack counted in."""

    section: str
    cable_um: int


def locate(layout: Layout, *, from_a_um: int) -> Location | None:
    """Return the location of a spot of the fibre, or nothing before its start and behind its end."""
    offsets, sections = layout.site_offsets_um, layout.design.sections
    if not 0 <= from_a_um <= offsets[-1]:
        return None
    index = min(bisect_right(offsets, from_a_um), len(sections)) - 1
    longer = _WHOLE + to_last_place(sections[index].excess_percent, places=2)
    cable_um = round_half_even((from_a_um - offsets[index]) * _WHOLE, unit=longer)
    return Location(section=sections[index].id, cable_um=cable_um)
