"""A design laid out: which joints each fibre has, where they lie, and under which cable fibre number.

Lengths are integers of a micrometre (a centimetre of cable times a hundredth of a percent of excess), so that a budget
over them is exact.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from service.vocabulary.design.cable_numbers import numbers_behind, runs_of
from service.vocabulary.design.colours import place_in_cable
from service.vocabulary.design.design import Design, PlannedFibres, Section, Site
from service.vocabulary.design.words import FibreAction, JointKind, SiteKind, Splicing
from service.vocabulary.quantities import to_last_place


@dataclass(frozen=True, kw_only=True, slots=True)
class Joint:
    """One splice, joining two fibre types, or one mated pair; fibres with one plan share theirs."""

    site: str
    site_index: int
    position: int
    kind: JointKind
    segment: str
    from_a_um: int
    splicing: Splicing | None = None
    joining: tuple[str | None, str | None] | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """The fibre from one terminal or patch panel to the next, by the indices of the two sites."""

    first: int
    last: int


class LocalFibre(NamedTuple):
    """What a crew sees of a route fibre on one side of a site, by the names that the work list says it with."""

    section: str
    cable_fibre: int
    tube: int
    tube_colour: str
    fibre_in_tube: int
    fibre_colour: str


class Layout:
    """A design with everything that judging and the work list look up in it."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self.site_index = {site.id: index for index, site in enumerate(design.sites)}
        self._joints_of_first: dict[int, tuple[Joint, ...]] = {}
        self._cable_fibres: dict[int, tuple[int, ...]] = {}

    @cached_property
    def section_lengths_um(self) -> tuple[int, ...]:
        """Fibre length of each section, slack and excess included."""
        return tuple(fibre_length_um(section) for section in self.design.sections)

    @cached_property
    def site_offsets_um(self) -> tuple[int, ...]:
        """Fibre distance of each site from A."""
        offsets = [0]
        for length in self.section_lengths_um:
            offsets.append(offsets[-1] + length)
        return tuple(offsets)

    @cached_property
    def spans(self) -> tuple[Span, ...]:
        """The spans in route order; a route without patch panels has one."""
        last = len(self.design.sites) - 1
        ends = [
            index
            for index, site in enumerate(self.design.sites)
            if index in {0, last} or site.kind is not SiteKind.SPLICE_CLOSURE
        ]
        return tuple(Span(first=first, last=last) for first, last in pairwise(ends))

    @cached_property
    def unbuilt_ends(self) -> frozenset[int]:
        """The ends of the route, by site index, at which fibres are not connected yet: a stub, or a closure."""
        ends = (0, len(self.design.sites) - 1)
        return frozenset(index for index in ends if self.design.sites[index].kind is not SiteKind.TERMINAL)

    def is_closure(self, site: str) -> bool:
        """Tell whether a site is a splice closure of the route."""
        return site in self.site_index and self.design.sites[self.site_index[site]].kind is SiteKind.SPLICE_CLOSURE

    def has_connections(self, index: int) -> bool:
        """Tell whether fibres end on connections at a site, so that a test from there sees one."""
        return self.design.sites[index].kind in {SiteKind.TERMINAL, SiteKind.PATCH_PANEL}

    @cached_property
    def segment_of_site(self) -> Mapping[str, str]:
        """The segment that names each site."""
        return {site: segment.id for segment in self.design.segments for site in segment.sites}

    @cached_property
    def segments_of_fibre(self) -> Mapping[int, tuple[str, ...]]:
        """The segments, in route order, that have each fibre in scope."""
        scope: dict[int, list[str]] = {}
        for segment in self.design.segments:
            for numbers in segment.fibres:
                for fibre in numbers.numbers():
                    scope.setdefault(fibre, []).append(segment.id)
        return {fibre: tuple(segments) for fibre, segments in scope.items()}

    @cached_property
    def closures_left_shut(self) -> frozenset[int]:
        """The closures, by site index, that nobody has to open by the design: no fibre of the route is cut there.

        Nor is any in one at an end of the route, which is not built yet.
        """
        uncut: Counter[str] = Counter()
        for entry in self.design.splice_plan:
            if entry.action is FibreAction.UNCUT:
                uncut[entry.site] += len(entry.fibres.numbers())
        all_uncut = (site for site, fibres in uncut.items() if fibres == self.design.fibre_count)
        return self.unbuilt_ends.union(self.site_index[site] for site in all_uncut if site in self.site_index)

    @cached_property
    def _plan(self) -> Mapping[tuple[str, int], PlannedFibres]:
        return {(entry.site, fibre): entry for entry in self.design.splice_plan for fibre in entry.fibres.numbers()}

    @cached_property
    def _stored(self) -> frozenset[int]:
        # At an end that is not built yet each fibre lies stored, and runs as far as any does.
        inside = {site for site, index in self.site_index.items() if index not in self.unbuilt_ends}
        planned = self._plan.items()
        return frozenset(
            fibre for (site, fibre), entry in planned if entry.action is FibreAction.STORED and site in inside
        )

    @cached_property
    def _first_alike(self) -> Mapping[int, int]:
        # What the plan says for the sake of a tray or a port, and would be so anyway, tells no fibres apart.
        usual = {site.id: self._usual_action(site) for site in self.design.sites}
        planned: dict[int, list[tuple[str, FibreAction, bool]]] = {}
        for (site, fibre), entry in sorted(self._plan.items(), key=lambda item: item[0]):
            is_by_ribbon = entry.splicing is Splicing.RIBBON
            if entry.action is not usual.get(site) or is_by_ribbon:
                planned.setdefault(fibre, []).append((site, entry.action, is_by_ribbon))
        firsts: dict[tuple[tuple[str, FibreAction, bool], ...], int] = {}
        return {fibre: firsts.setdefault(tuple(own), fibre) for fibre, own in sorted(planned.items())}

    def action(self, site: Site, fibre: int) -> FibreAction:
        """Return what happens to a fibre at a site; straight through where the plan says nothing."""
        planned = self.planned(site.id, fibre)
        if planned is not None:
            return planned.action
        return self._usual_action(site)

    def planned(self, site: str, fibre: int) -> PlannedFibres | None:
        """Return what the splice plan says of a fibre at a site."""
        return self._plan.get((site, fibre))

    def tray(self, site: str, fibre: int) -> int | None:
        """Return the tray of a site that the splice plan names for a fibre."""
        planned = self.planned(site, fibre)
        return None if planned is None else planned.tray

    def cable_fibres(self, fibre: int) -> tuple[int, ...]:
        """Return the cable fibre number of a route fibre in each section, in route order."""
        if fibre not in self._cable_fibres:
            self._cable_fibres[fibre] = tuple([numbers[fibre - 1] for numbers in self.cable_numbers])
        return self._cable_fibres[fibre]

    @cached_property
    def cable_numbers(self) -> Sequence[Sequence[int]]:
        """The cable fibre numbers in each section, in order of route fibre.

        Sections through which nothing moves share theirs: of 400 with 1,728 fibres a few are made, not all.
        """
        moved: dict[str, list[PlannedFibres]] = {}
        for entry in self.design.splice_plan:
            if entry.to_cable_fibre is not None:
                moved.setdefault(entry.site, []).append(entry)
        numbers: Sequence[int] = range(1, self.design.fibre_count + 1)
        by_section: list[Sequence[int]] = []
        for site, section in zip(self.design.sites, self.design.sections, strict=False):
            numbers = numbers_behind(numbers, section.first_cable_fibre, moved.get(site.id, ()))
            by_section.append(numbers)
        return by_section

    @cached_property
    def cable_ranges(self) -> Sequence[Sequence[tuple[int, int]]]:
        """The cable fibres that the route takes of each section, as rising ranges with both ends included."""
        made = {id(numbers): runs_of(numbers) for numbers in {id(one): one for one in self.cable_numbers}.values()}
        return [made[id(numbers)] for numbers in self.cable_numbers]

    @cached_property
    def _ways_in_tubes(self) -> Sequence[tuple[Sequence[int], int]]:
        # Sections in which the fibres have the same numbers and tubes, once: mostly the whole route is one.
        both = [
            (numbers, own.fibres_per_tube)
            for numbers, own in zip(self.cable_numbers, self.design.sections, strict=True)
        ]
        return list({(id(numbers), per_tube): (numbers, per_tube) for numbers, per_tube in both}.values())

    def tubes_of(self, fibre: int) -> tuple[int, ...]:
        """Return in which tubes a route fibre lies, counted from 0: alike for those that lie in the same all along."""
        return tuple([(numbers[fibre - 1] - 1) // per_tube for numbers, per_tube in self._ways_in_tubes])

    def joints_of(self, fibre: int) -> tuple[Joint, ...]:
        """Return a fibre's joints in route order from A."""
        first = self.first_alike(fibre)
        if first not in self._joints_of_first:
            self._joints_of_first[first] = tuple(self._joints(first))
        return self._joints_of_first[first]

    def first_alike(self, fibre: int) -> int:
        """Return the first fibre to which the same happens at every site; those of no number in the plan are alike."""
        return self._first_alike.get(fibre, 0)

    def is_continuous(self, fibre: int) -> bool:
        """Tell whether the fibre runs from end to end: nowhere stored."""
        return fibre not in self._stored

    def joint_kinds(self, index: int, action: FibreAction) -> tuple[JointKind, ...]:
        """Return the joints in route order that an action makes of a fibre at a site."""
        site = self.design.sites[index]
        if action is FibreAction.SPLICED:
            return (JointKind.SPLICE,)
        if action is not FibreAction.TERMINATED:
            return ()
        spliced = (JointKind.SPLICE,) if site.has_pigtails else ()
        if site.kind is SiteKind.PATCH_PANEL:
            pairs = (JointKind.PAIR, JointKind.PAIR) if site.patch_cord else (JointKind.PAIR,)
            return (*spliced, *pairs, *spliced)
        return (JointKind.PAIR, *spliced) if index == 0 else (*spliced, JointKind.PAIR)

    def local_fibres(self, fibre: int, site: str) -> tuple[LocalFibre | None, LocalFibre | None]:
        """Return what a crew sees of a route fibre at a site, on the side towards A and on the side towards B."""
        index, cable_fibres = self.site_index[site], self.cable_fibres(fibre)
        before = self.local_fibre(index - 1, cable_fibres[index - 1]) if index > 0 else None
        after = self.local_fibre(index, cable_fibres[index]) if index < len(self.design.sections) else None
        return before, after

    def cable_fibres_at(self, site: str, fibre: int) -> list[tuple[Section, int]]:
        """Return the sections that meet at a site, each with the cable fibre that a route fibre is in it."""
        index, cable_fibres = self.site_index[site], self.cable_fibres(fibre)
        meeting = range(max(index - 1, 0), min(index + 1, len(self.design.sections)))
        return [(self.design.sections[section], cable_fibres[section]) for section in meeting]

    def tubes_at(self, site: str, fibre: int) -> frozenset[tuple[str, int]]:
        """Return the tubes, by section, that hold a route fibre on both sides of a site."""
        own = self.cable_fibres_at(site, fibre)
        return frozenset((section.id, (number - 1) // section.fibres_per_tube) for section, number in own)

    def local_fibre(self, section_index: int, cable_fibre: int) -> LocalFibre:
        """Return what a crew sees of a cable fibre in a section, by the section's index."""
        section = self.design.sections[section_index]
        place = place_in_cable(cable_fibre, fibres_per_tube=section.fibres_per_tube, scheme=section.colour_scheme)
        return LocalFibre(section.id, cable_fibre, *place)

    def _usual_action(self, site: Site) -> FibreAction:
        if self.site_index[site.id] in self.unbuilt_ends:
            return FibreAction.STORED
        return FibreAction.SPLICED if site.kind is SiteKind.SPLICE_CLOSURE else FibreAction.TERMINATED

    def _joints(self, fibre: int) -> Iterator[Joint]:
        for index, site in enumerate(self.design.sites):
            action, planned = self.action(site, fibre), self.planned(site.id, fibre)
            splicing = (None if planned is None else planned.splicing) or Splicing.SINGLE
            for position, kind in enumerate(self.joint_kinds(index, action), start=1):
                is_splice = kind is JointKind.SPLICE
                yield Joint(
                    site=site.id,
                    site_index=index,
                    position=position,
                    kind=kind,
                    segment=self.segment_of_site[site.id],
                    from_a_um=self.site_offsets_um[index],
                    splicing=splicing if is_splice else None,
                    joining=self._joined(index, action, is_first=position == 1) if is_splice else None,
                )

    def _joined(self, index: int, action: FibreAction, *, is_first: bool) -> tuple[str | None, str | None]:
        """Return the types of the fibres that a splice joins: of two cables, or of one and its pigtail."""
        site, sections = self.design.sites[index], self.design.sections
        before = sections[index - 1].fibre_type if index > 0 else None
        after = sections[index].fibre_type if index < len(sections) else None
        if action is FibreAction.SPLICED:
            return before, after
        # Of the splices in a panel the first is that of the cable from A.
        return (before, site.pigtail_fibre_type) if index > 0 and is_first else (site.pigtail_fibre_type, after)


def fibre_length_um(section: Section) -> int:
    """Return the fibre length of a section: cable and its slack, longer by the excess."""
    cable_cm = to_last_place(section.cable_length_m, places=2) + to_last_place(section.slack_m, places=2)
    return cable_cm * (10_000 + to_last_place(section.excess_percent, places=2))
