"""How far work in a closure reaches: whose earlier tests it voids, by what was agreed."""

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from enum import StrEnum
from typing import NamedTuple

from service.vocabulary.design.layout import Layout


class Voiding(StrEnum):
    """How far work on a fibre in a closure reaches.

    That fibre; all in its tray there; all in its tubes there; or all that the closure holds. A closure opened for some
    fibres reaches as far as work on them; one of which is not said for which was opened for all.
    """

    FIBRE = "fibre"
    TRAY = "tray"
    TUBE = "tube"
    CLOSURE = "closure"


class Work(NamedTuple):
    """What was worked on in a closure: fibres of a route, and tubes and trays known beside theirs.

    A tray is `None` where nobody says in which a fibre lies.
    """

    fibres: AbstractSet[int]
    tubes: frozenset[tuple[str, int]] = frozenset()
    trays: frozenset[int | None] = frozenset()


class CableFibres(NamedTuple):
    """Neighbouring fibres of one section's cable, both ends included."""

    section: str
    first: int
    last: int


def work_of_opening(layout: Layout, site: str, opened_for: Iterable[CableFibres | int]) -> Work:
    """Return what a closure was opened for, by cable fibres, which may be another route's, and by trays."""
    named = list(opened_for)
    cable_fibres = [one for one in named if isinstance(one, CableFibres)]
    wanted = {(one.section, number) for one in cable_fibres for number in range(one.first, one.last + 1)}
    in_trays: frozenset[int | None] = frozenset(one for one in named if isinstance(one, int))
    fibres: set[int] = set()
    found: set[tuple[str, int]] = set()
    for fibre in range(1, layout.design.fibre_count + 1) if site in layout.site_index else ():
        own = {(section.id, number) for section, number in layout.cable_fibres_at(site, fibre)}
        found |= own
        if not own.isdisjoint(wanted) or (in_trays and layout.tray(site, fibre) in {None, *in_trays}):
            fibres.add(fibre)
    per_tube = {section.id: section.fibres_per_tube for section in layout.design.sections}
    tubes = {(section, (number - 1) // per_tube[section]) for section, number in wanted if section in per_tube}
    # In which tray another route's fibre lies is not known here.
    of_others = {None} if wanted - found else set()
    return Work(frozenset(fibres), frozenset(tubes), in_trays | of_others)


def reaches(voiding: Voiding, layout: Layout, *, site: str, work: Work, fibre: int) -> bool:
    """Tell whether work in a closure was work on a fibre too, by what was agreed."""
    if voiding is Voiding.CLOSURE or fibre in work.fibres:
        return True
    match voiding:
        case Voiding.TUBE:
            own = layout.tubes_at(site, fibre)
            return not own.isdisjoint(work.tubes) or any(
                not own.isdisjoint(layout.tubes_at(site, one)) for one in work.fibres
            )
        case Voiding.TRAY:
            trays = work.trays | {layout.tray(site, one) for one in work.fibres}
            # What may lie in the same tray was worked on too.
            return layout.tray(site, fibre) in {None, *trays} or None in trays
        case _:
            return False
