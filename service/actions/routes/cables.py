"""Hold the cable fibres of a route's designs, and refuse a design that does not agree with its neighbours'.

Whoever calls holds the lock on which routes pass which sites, taken before any route's: who passes a cable stays as it
is from looking to commit. That no fibre is two routes' is held by the database all the same.
"""

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from itertools import islice
from typing import NamedTuple

from sqlmodel import Session

from service.errors import BodyInvalidError
from service.storage import routes
from service.storage.cables import HeldRange, hold_fibres, routes_beside
from service.storage.tables import Route
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.neighbours import Neighbour, faults_beside, merge_ranges, with_facts_of
from service.vocabulary.validation import MOST_FAULTS, Fault


class Corrected(NamedTuple):
    """A route that passes cable of which another's design says other facts, and its own design with these."""

    route: Route
    design: Design
    sections: list[str]


def correct_others(session: Session, route: Route, design: Design) -> list[Corrected]:
    """Return the other routes whose designs in force a route's design corrects, in order of their id.

    A cable is the project's: who finds it longer than designed has found that for every route that passes it.
    """
    corrected = []
    for other in routes_beside(session, route, sections=[one.id for one in design.sections], sites=[]):
        before = routes.layout_of(session, other).design
        after = with_facts_of(before, design)
        pairs = zip(before.sections, after.sections, strict=True)
        if sections := [one.id for one, then in pairs if one != then]:
            corrected.append(Corrected(other, after, sections))
    return sorted(corrected, key=lambda one: one.route.id)


def faults_of_cable(
    session: Session, route: Route, layout: Layout, *, corrected: AbstractSet[str] = frozenset()
) -> list[Fault]:
    """Return what a design says otherwise of cable and trays than the project's other routes, or takes from them."""
    design = layout.design
    sections = [one.id for one in design.sections]
    sites = {site.id for site in design.sites if site.trays}
    sites |= {entry.site for entry in design.splice_plan if entry.port is not None}
    neighbours = [
        Neighbour(other.code, one)
        for other in routes_beside(session, route, sections=sections, sites=sorted(sites))
        for one in designs_held(session, other)
    ]
    return list(islice(faults_beside(layout, neighbours, corrected=corrected), MOST_FAULTS))


def refuse_beside_others(session: Session, route: Route, design: Design) -> None:
    """Refuse a design that does not go together with those of the project's other routes.

    Of cable that the route's agreed design has, a revision may say other facts, which others take over with it.
    """
    agreed = None if route.agreed_design_revision is None else routes.layout_of(session, route).design
    corrected = frozenset(one.id for one in (agreed.sections if agreed else ()))
    faults = faults_of_cable(session, route, Layout(design), corrected=corrected)
    if faults:
        raise BodyInvalidError("Cable and trays are the project's, and other routes pass them.", faults=faults)


def hold_cable(session: Session, route: Route) -> None:
    """Let a locked route hold the cable fibres of its designs, and of no others."""
    hold_fibres(session, route, _ranges(designs_held(session, route)))


def designs_held(session: Session, route: Route) -> list[Layout]:
    """Return the designs whose cable fibres a route holds: the one in force, and what is proposed to come after it."""
    revisions = {route.design_revision, route.proposed_design_revision or route.design_revision}
    return [routes.layout_of(session, route, revision=revision) for revision in sorted(revisions)]


def _ranges(layouts: Iterable[Layout]) -> list[HeldRange]:
    by_section: dict[str, list[tuple[int, int]]] = {}
    for layout in layouts:
        for section, ranges in zip(layout.design.sections, layout.cable_ranges, strict=True):
            by_section.setdefault(section.id, []).extend(ranges)
    return [HeldRange(section, *own) for section, ranges in by_section.items() for own in merge_ranges(ranges)]
