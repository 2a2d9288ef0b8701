"""A design laid out: which joints each fibre has, where they lie, and under which cable fibre number.

Lengths are integers of a micrometre (a centimetre of cable times a hundredth of a percent of excess), so that a budget
over them is exact. Tube and fibre colours are those of TIA-598: twelve, and from 13 the sequence repeats with a black
tracer, where black itself takes a yellow one. There is no world-wide sequence, so the scheme is a setting of each
section's cable.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from service.vocabulary.design.design import Design, PlannedFibres, Section, Site
from service.vocabulary.design.words import FibreAction, JointKind, SiteKind, Termination
from service.vocabulary.quantities import to_last_place

_TIA_598 = (
    "blue", "orange", "green", "brown", "slate", "white", "red", "black", "yellow", "violet", "rose", "aqua",
)  # fmt: skip
SCHEMES = {"tia_598": _TIA_598}


@dataclass(frozen=True, kw_only=True, slots=True)
class Joint:
    """One splice or one mated pair of a fibre, with its fibre distance from A; fibres with one plan share theirs."""

    site: str
    site_index: int
    position: int
    kind: JointKind
    segment: str
    from_a_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """The fibre from one terminal or patch panel to the next, by the indices of the two sites."""

    first: int
    last: int


class TubePlace(NamedTuple):
    """Where a cable fibre lies: tube and fibre in the tube, each with its colour."""

    tube: int
    tube_colour: str
    fibre: int
    fibre_colour: str


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
        ends = [index for index, site in enumerate(self.design.sites) if site.kind is not SiteKind.SPLICE_CLOSURE]
        return tuple(Span(first=first, last=last) for first, last in pairwise(ends))

    def is_closure(self, site: str) -> bool:
        """Tell whether a site is a splice closure of the route."""
        index = self.site_index.get(site)
        return index is not None and self.design.sites[index].kind is SiteKind.SPLICE_CLOSURE

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
        """The closures, by site index, in which no fibre of the route is cut: by the design none has to be opened."""
        uncut: Counter[str] = Counter()
        for entry in self.design.splice_plan:
            if entry.action is FibreAction.UNCUT:
                uncut[entry.site] += len(entry.fibres.numbers())
        all_uncut = (site for site, fibres in uncut.items() if fibres == self.design.fibre_count)
        return frozenset(self.site_index[site] for site in all_uncut if site in self.site_index)

    @cached_property
    def _plan(self) -> Mapping[tuple[str, int], PlannedFibres]:
        return {(entry.site, fibre): entry for entry in self.design.splice_plan for fibre in entry.fibres.numbers()}

    @cached_property
    def _stored(self) -> frozenset[int]:
        planned = self._plan.items()
        return frozenset(
            fibre for (site, fibre), entry in planned if entry.action is FibreAction.STORED and site in self.site_index
        )

    @cached_property
    def _first_alike(self) -> Mapping[int, int]:
        planned: dict[int, list[tuple[str, FibreAction]]] = {}
        for (site, fibre), entry in sorted(self._plan.items(), key=lambda item: item[0]):
            planned.setdefault(fibre, []).append((site, entry.action))
        firsts: dict[tuple[tuple[str, FibreAction], ...], int] = {}
        return {fibre: firsts.setdefault(tuple(own), fibre) for fibre, own in sorted(planned.items())}

    def action(self, site: Site, fibre: int) -> FibreAction:
        """Return what happens to a fibre at a site; straight through where the plan says nothing."""
        planned = self._plan.get((site.id, fibre))
        if planned is not None:
            return planned.action
        return FibreAction.SPLICED if site.kind is SiteKind.SPLICE_CLOSURE else FibreAction.TERMINATED

    def tray(self, site: str, fibre: int) -> int | None:
        """Return the tray of a site that the splice plan names for a fibre."""
        planned = self._plan.get((site, fibre))
        return None if planned is None else planned.tray

    def cable_fibres(self, fibre: int) -> tuple[int, ...]:
        """Return the cable fibre number of a route fibre in each section, in route order."""
        if fibre not in self._cable_fibres:
            self._cable_fibres[fibre] = self._follow(fibre)
        return self._cable_fibres[fibre]

    def _follow(self, fibre: int) -> tuple[int, ...]:
        numbers = [fibre]
        for site in self.design.sites[1:-1]:
            planned = self._plan.get((site.id, fibre))
            moved = None if planned is None or planned.to_cable_fibre is None else planned
            numbers.append(numbers[-1] if moved is None else moved.to_cable_fibre + fibre - moved.fibres.first)  # type: ignore[operator]
        return tuple(numbers)

    def tubes_of(self, fibre: int) -> tuple[int, ...]:
        """Return in which tube a route fibre lies in each section, counted from 0."""
        both = zip(self.cable_fibres(fibre), self.design.sections, strict=True)
        return tuple([(number - 1) // section.fibres_per_tube for number, section in both])

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
        spliced = (JointKind.SPLICE,) if site.termination in {None, Termination.PIGTAIL} else ()
        if site.kind is SiteKind.PATCH_PANEL:
            pairs = (JointKind.PAIR, JointKind.PAIR) if site.patch_cord else (JointKind.PAIR,)
            return (*spliced, *pairs, *spliced)
        return (JointKind.PAIR, *spliced) if index == 0 else (*spliced, JointKind.PAIR)

    def local_fibres(self, fibre: int, site: str) -> tuple[LocalFibre | None, LocalFibre | None]:
        """Return what a crew sees of a route fibre at a site, on the side towards A and on the side towards B."""
        index, cable_fibres = self.site_index[site], self.cable_fibres(fibre)
        before = self._local(index - 1, cable_fibres) if index > 0 else None
        after = self._local(index, cable_fibres) if index < len(self.design.sections) else None
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

    def _local(self, section_index: int, cable_fibres: tuple[int, ...]) -> LocalFibre:
        section, cable_fibre = self.design.sections[section_index], cable_fibres[section_index]
        place = place_in_cable(cable_fibre, fibres_per_tube=section.fibres_per_tube, scheme=section.colour_scheme)
        return LocalFibre(section.id, cable_fibre, *place)

    def _joints(self, fibre: int) -> Iterator[Joint]:
        for index, site in enumerate(self.design.sites):
            for position, kind in enumerate(self.joint_kinds(index, self.action(site, fibre)), start=1):
                yield Joint(
                    site=site.id,
                    site_index=index,
                    position=position,
                    kind=kind,
                    segment=self.segment_of_site[site.id],
                    from_a_um=self.site_offsets_um[index],
                )


def fibre_length_um(section: Section) -> int:
    """Return the fibre length of a section: cable and its slack, longer by the excess."""
    cable_cm = to_last_place(section.cable_length_m, places=2) + to_last_place(section.slack_m, places=2)
    return cable_cm * (10_000 + to_last_place(section.excess_percent, places=2))


def colour_of(number: int, *, scheme: str) -> str:
    """Return the colour of the tube or fibre with a number from 1."""
    colours = SCHEMES[scheme]
    round_, index = divmod(number - 1, len(colours))
    colour = colours[index]
    if round_ == 0:
        return colour
    tracer = "yellow" if colour == "black" else "black"
    return f"{colour} with {tracer} tracer" if round_ == 1 else f"{colour} with {round_} {tracer} tracers"


def place_in_cable(cable_fibre: int, *, fibres_per_tube: int, scheme: str) -> TubePlace:
    """Return tube and fibre in tube of a cable fibre, counted from 1."""
    tube, fibre = divmod(cable_fibre - 1, fibres_per_tube)
    return TubePlace(
        tube=tube + 1,
        tube_colour=colour_of(tube + 1, scheme=scheme),
        fibre=fibre + 1,
        fibre_colour=colour_of(fibre + 1, scheme=scheme),
    )
