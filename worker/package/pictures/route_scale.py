"""The route by distance: where sites, sections and segments lie along the fibre, and which sites share a strip."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from service.vocabulary.design.layout import Layout
from service.vocabulary.words import SiteKind
from worker.package.data.content import PackageContent
from worker.package.pictures.worst_joints import JointsOfSite


@dataclass(frozen=True, kw_only=True)
class SiteOnScale:
    """A site at its fibre distance from A; `joints` is there where losses at it were judged."""

    id: str
    name: str
    kind: SiteKind
    from_a_um: int
    is_submitted: bool
    joints: JointsOfSite | None


@dataclass(frozen=True, kw_only=True)
class Extent:
    """A section or a segment, from where to where it runs."""

    id: str
    first_um: int
    last_um: int
    name: str = ""
    is_submitted: bool = True


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A part of the route that is drawn as one; the site at which a strip ends is the first of the next."""

    sites: Sequence[SiteOnScale]
    sections: Sequence[Extent]
    segments: Sequence[Extent]

    @property
    def first_um(self) -> int:
        """Where it starts."""
        return self.sites[0].from_a_um

    @property
    def last_um(self) -> int:
        """Where it ends."""
        return self.sites[-1].from_a_um


def strips(
    content: PackageContent, joints: Mapping[str, JointsOfSite], *, most_alone: int, most_in_strip: int
) -> Sequence[Strip]:
    """Return the route as one strip if its sites find room there, else in strips of about as many sites each."""
    layout = Layout(content.design)
    sites = list(_sites(content, layout, joints))
    sections = list(_sections(layout))
    segments = list(_segments(content, layout))
    parts = 1 if len(sites) <= most_alone else -(-(len(sites) - 1) // (most_in_strip - 1))
    cuts = [round(part * (len(sites) - 1) / parts) for part in range(parts + 1)]
    return [
        Strip(
            sites=sites[first : last + 1],
            sections=sections[first:last],
            segments=_within(segments, low_um=sites[first].from_a_um, high_um=sites[last].from_a_um),
        )
        for first, last in pairwise(cuts)
    ]


def _sites(content: PackageContent, layout: Layout, joints: Mapping[str, JointsOfSite]) -> Iterator[SiteOnScale]:
    submitted = frozenset(content.segments)
    for site, from_a_um in zip(content.design.sites, layout.site_offsets_um, strict=True):
        yield SiteOnScale(
            id=site.id,
            name=site.name,
            kind=site.kind,
            from_a_um=from_a_um,
            is_submitted=layout.segment_of_site[site.id] in submitted,
            joints=joints.get(site.id),
        )


def _sections(layout: Layout) -> Iterator[Extent]:
    for section, (first_um, last_um) in zip(layout.design.sections, pairwise(layout.site_offsets_um), strict=True):
        yield Extent(id=section.id, first_um=first_um, last_um=last_um)


def _segments(content: PackageContent, layout: Layout) -> Iterator[Extent]:
    """Give the segments in route order; one without a section is the sites that it names."""
    offsets_um = layout.site_offsets_um
    section_index = {section.id: index for index, section in enumerate(layout.design.sections)}
    found = []
    for segment in layout.design.segments:
        points_um = [offsets_um[layout.site_index[site]] for site in segment.sites]
        for section in segment.sections:
            index = section_index[section]
            points_um += [offsets_um[index], offsets_um[index + 1]]
        if points_um:
            is_submitted = segment.id in content.segments
            found.append(
                Extent(
                    id=segment.id,
                    name=segment.name,
                    first_um=min(points_um),
                    last_um=max(points_um),
                    is_submitted=is_submitted,
                )
            )
    yield from sorted(found, key=lambda one: (one.first_um, one.last_um))


def _within(extents: Sequence[Extent], *, low_um: int, high_um: int) -> Sequence[Extent]:
    # What only touches a strip's end belongs to the neighbour, but one of no length has no other place.
    return [
        one
        for one in extents
        if (one.first_um < high_um and one.last_um > low_um) or low_um <= one.first_um == one.last_um <= high_um
    ]
