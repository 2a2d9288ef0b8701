"""What a design has to agree on with the other routes of its project: they pass the same sites and the same cable."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from typing import Any, NamedTuple

from service.vocabulary.design.design import Design, PlannedFibres, Section
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.rules import splices_by_tray
from service.vocabulary.validation import Fault

# What a route says of its own fibres, and not of the cable.
_OF_ROUTE = {"first_cable_fibre"}
_UNSAID = (None, ())


class Neighbour(NamedTuple):
    """Another route of the project by its code, as one of its design revisions lays it out."""

    code: str
    layout: Layout


def faults_beside(
    layout: Layout, neighbours: Sequence[Neighbour], *, corrected: AbstractSet[str] = frozenset()
) -> Iterator[Fault]:
    """Say what a design says otherwise than another route does, or takes that another has taken.

    Of the `corrected` sections it may say other facts: what it says then becomes what all routes say that pass them.
    """
    for neighbour in neighbours:
        yield from _section_faults(layout, neighbour, corrected)
        yield from _port_faults(layout, neighbour)
    yield from _tray_faults(layout, neighbours)


def with_facts_of(design: Design, other: Design) -> Design:
    """Return a design that says of the sections that it shares with another what that one says, where both say it."""
    theirs = {section.id: section for section in other.sections}
    told = {one.id: dict(_told_otherwise(theirs[one.id], one)) for one in design.sections if one.id in theirs}
    sections = tuple([one.model_copy(update=told.get(one.id, {})) for one in design.sections])
    return design.model_copy(update={"sections": sections})


def merge_ranges(ranges: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return ranges, both ends included, as the fewest that hold the same numbers, in rising order."""
    merged: list[tuple[int, int]] = []
    for first, last in sorted(ranges):
        if merged and first <= merged[-1][1] + 1:
            merged[-1] = merged[-1][0], max(last, merged[-1][1])
        else:
            merged.append((first, last))
    return merged


def _section_faults(layout: Layout, neighbour: Neighbour, corrected: AbstractSet[str]) -> Iterator[Fault]:
    theirs = {section.id: index for index, section in enumerate(neighbour.layout.design.sections)}
    for index, section in enumerate(layout.design.sections):
        if section.id in theirs:
            there, pointer = theirs[section.id], f"/sections/{index}"
            ends = _ends(neighbour.layout, there)
            if set(ends) != set(_ends(layout, index)):
                yield Fault(pointer=f"{pointer}/id", detail=f"joins {' and '.join(ends)} on route {neighbour.code}")
            if section.id not in corrected:
                yield from _fact_faults(pointer, section, neighbour.layout.design.sections[there], neighbour.code)
            yield from _fibre_faults(pointer, layout, index, neighbour, there)


def _ends(layout: Layout, index: int) -> tuple[str, str]:
    sites = layout.design.sites
    return sites[index].id, sites[index + 1].id


def _fact_faults(pointer: str, own: Section, other: Section, code: str) -> Iterator[Fault]:
    for member, _ in _told_otherwise(other, own):
        value = other.model_dump(include={member})[member]
        known = value if isinstance(value, str | int) else "something else"
        yield Fault(pointer=f"{pointer}/{member}", detail=f"is {known} on route {code}, which passes this cable too")


def _told_otherwise(one: Section, than: Section) -> Iterator[tuple[str, Any]]:
    """Give what one route says of a cable otherwise than another does.

    What one leaves unsaid, as the reel, contradicts nobody who knows it.
    """
    for member in [name for name in Section.model_fields if name not in _OF_ROUTE]:
        value, other = getattr(one, member), getattr(than, member)
        if value != other and value not in _UNSAID and other not in _UNSAID:
            yield member, value


def _fibre_faults(pointer: str, layout: Layout, index: int, neighbour: Neighbour, there: int) -> Iterator[Fault]:
    own, theirs = layout.cable_ranges[index], neighbour.layout.cable_ranges[there]
    taken = _first_taken(own, theirs)
    if taken is not None:
        yield Fault(pointer=f"{pointer}/first_cable_fibre", detail=f"cable fibre {taken} is route {neighbour.code}'s")
    count, known = layout.design.sections[index].fibre_count, neighbour.layout.design.sections[there].fibre_count
    last, their_last = (max((last for _, last in ranges), default=0) for ranges in (own, theirs))
    if count is not None and their_last > count:
        yield Fault(pointer=f"{pointer}/fibre_count", detail=f"cable fibre {their_last} is route {neighbour.code}'s")
    if count is None and known is not None and last > known:
        detail = f"cable fibre {last} is none of the {known} that route {neighbour.code} says there are"
        yield Fault(pointer=f"{pointer}/first_cable_fibre", detail=detail)


def _first_taken(own: Iterable[tuple[int, int]], theirs: Sequence[tuple[int, int]]) -> int | None:
    both = [max(first, start) for first, last in own for start, end in theirs if max(first, start) <= min(last, end)]
    return min(both, default=None)


def _port_faults(layout: Layout, neighbour: Neighbour) -> Iterator[Fault]:
    theirs: dict[str, list[tuple[int, int]]] = {}
    for entry in neighbour.layout.design.splice_plan:
        theirs.setdefault(entry.site, []).extend(ports for _, ports in _ports(entry))
    for index, entry in enumerate(layout.design.splice_plan):
        for member, ports in _ports(entry):
            taken = _first_taken([ports], theirs.get(entry.site, ()))
            if taken is not None:
                yield Fault(
                    pointer=f"/splice_plan/{index}/{member}", detail=f"port {taken} is route {neighbour.code}'s"
                )


def _ports(entry: PlannedFibres) -> Iterator[tuple[str, tuple[int, int]]]:
    behind = len(entry.fibres.numbers()) - 1
    for member, first in (("port", entry.port), ("to_port", entry.to_port)):
        if first is not None:
            yield member, (first, first + behind)


def _tray_faults(layout: Layout, neighbours: Sequence[Neighbour]) -> Iterator[Fault]:
    own = splices_by_tray(layout)
    used = _used_by_others(neighbours)
    for index, site in enumerate(layout.design.sites):
        pointer = f"/sites/{index}/trays"
        for neighbour in neighbours if site.trays else ():
            place = neighbour.layout.site_index.get(site.id)
            theirs = () if place is None else neighbour.layout.design.sites[place].trays
            if theirs and set(theirs) != set(site.trays):
                yield Fault(pointer=pointer, detail=f"are others on route {neighbour.code}")
        for number, tray in enumerate(site.trays):
            splices = own.get((site.id, tray.number), 0)
            over = splices + used.get((site.id, tray.number), 0) - tray.capacity
            if splices and over > 0:
                detail = f"with the splices of other routes the tray has room for {over} fewer"
                yield Fault(pointer=f"{pointer}/{number}/capacity", detail=detail)


def _used_by_others(neighbours: Iterable[Neighbour]) -> Mapping[tuple[str, int], int]:
    # Of a route with two revisions, one in force and one proposed, the one counts that needs more.
    by_route: dict[tuple[str, str, int], int] = {}
    for code, layout in neighbours:
        for (site, tray), splices in splices_by_tray(layout).items():
            by_route[code, site, tray] = max(splices, by_route.get((code, site, tray), 0))
    used: dict[tuple[str, int], int] = {}
    for (_, site, tray), splices in by_route.items():
        used[site, tray] = used.get((site, tray), 0) + splices
    return used
