"""Where a spot of a fibre lies: in which section, and how far along that section's cable."""

from bisect import bisect_right
from typing import NamedTuple

from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import round_half_even, to_last_place

# An excess is kept in hundredths of a percent.
_WHOLE = 10_000


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
