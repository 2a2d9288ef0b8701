"""Families of routes by how far they are from their design, and their instruments from each other: scored one by one.

Sizes are common practice, no source, but where a line names one.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

# Pulses of one family of routes: for every route one tuple is drawn, and each fibre is shot with every pulse of it.
Pulses = tuple[tuple[int, ...], ...]
Range = tuple[float, float]


class StatedIndex(StrEnum):
    """What records state of the index by which an instrument computed its distances."""

    USED = "used"
    TOLD = "told"
    NONE = "none"


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """What a family of routes is drawn by; all of it honest work.

    `excess_percent` is drawn for each section by itself, else the cable has one of its own. `tube_percent` and
    `fibre_percent` are what tubes and fibres deviate from it in a section, `tray_slack_m` what lies in a tray more or
    less. Of the closures a share `moved_share` was built up to `moved_m` away from its design, one section longer by
    it and the next shorter. There are so many `groups` of two to four closures `gap_m` apart, each moved together by up
    to `group_moved_m`. `index_apart` is by how much the two instruments' indices differ, as a ratio; the records state
    it, or the one that both were told, or none. Without pulses of its own a route is shot with the shortest that has
    `margin_db` left at the far end. `ends_m` is how long each of the first and the last
    `end_sections` is, where these are short. Where there are `mixed_m`, each section's length is drawn from one of
    them. A route has `fibres`, or half of them, and two at least.
    """

    name: str
    closures: int = 22
    length_scale: Range = (0.3, 1.2)
    excess_percent: Range | None = None
    tube_percent: float = 0.02
    fibre_percent: float = 0.01
    tray_slack_m: float = 1.0
    moved_share: float = 0.0
    moved_m: float = 60.0
    groups: int = 0
    gap_m: Range = (10.0, 60.0)
    group_moved_m: float = 0.0
    index_apart: float = 0.0
    stated_index: StatedIndex = StatedIndex.USED
    # Instruments part two events at 1.6 to 2.2 pulses, from memory.
    merge_pulses: Range = (1.6, 2.2)
    pulses_ns: Pulses = ()
    margin_db: Range = (11.0, 16.0)
    ends_m: Range | None = None
    end_sections: int = 1
    mixed_m: tuple[Range, ...] = ()
    fibres: int = 24


# What a trial was before there were families: every fibre of a cable as long, noise the same everywhere.
PLAIN = Geometry(
    name="plain",
    length_scale=(0.3, 2.0),
    tube_percent=0.0,
    fibre_percent=0.0,
    tray_slack_m=0.0,
    merge_pulses=(1.0, 1.0),
    pulses_ns=((30,), (100,), (300,)),
)
USUAL = Geometry(name="usual")
_ROUGH = replace(USUAL, excess_percent=(0.4, 1.8))
# Two indices 0.34 % apart are set 0.005 apart.
_APART = 0.0034
_SHORT_PULSES_NS = ((10,), (30,), (100,))
GEOMETRIES = {
    one.name: one
    for one in (
        PLAIN,
        USUAL,
        replace(_ROUGH, name="rough_excess"),
        replace(USUAL, name="off_design", moved_share=0.25),
        replace(USUAL, name="grouped", groups=2, pulses_ns=_SHORT_PULSES_NS),
        replace(USUAL, name="grouped_off_design", groups=2, group_moved_m=40.0, pulses_ns=_SHORT_PULSES_NS),
        replace(USUAL, name="indices_apart_stated", index_apart=_APART),
        replace(USUAL, name="indices_apart_unstated", index_apart=_APART, stated_index=StatedIndex.NONE),
        replace(USUAL, name="indices_apart_misstated", index_apart=_APART, stated_index=StatedIndex.TOLD),
        replace(USUAL, name="long_route_noisy", length_scale=(1.0, 2.0), margin_db=(3.0, 6.0)),
        replace(_ROUGH, name="several_pulses", pulses_ns=((30, 100, 300), (100, 300), (100, 1000))),
        replace(USUAL, name="long_pulses_near_ends", ends_m=(60.0, 600.0), pulses_ns=((30, 1000), (1000,), (3000,))),
        replace(USUAL, name="closures_at_ends", ends_m=(5.0, 60.0), end_sections=3, pulses_ns=_SHORT_PULSES_NS),
        replace(
            USUAL,
            name="mixed_sections",
            closures=10,
            mixed_m=((20.0, 60.0), (500.0, 3000.0), (500.0, 3000.0), (10_000.0, 20_000.0)),
        ),
        replace(USUAL, name="two_fibres", fibres=2, groups=2, group_moved_m=40.0, pulses_ns=_SHORT_PULSES_NS),
        replace(
            _ROUGH,
            name="all_at_once",
            moved_share=0.15,
            groups=1,
            group_moved_m=30.0,
            index_apart=_APART,
            pulses_ns=((30, 100), (30, 300), (100, 300, 1000)),
        ),
    )
}
