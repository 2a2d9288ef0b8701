"""The route by distance: where sites, sections and segments lie along the fibre, and which sites share a strip."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from service.vocabulary.design.design import Segment, Site
from service.vocabulary.design.layout import Layout
from worker.package.data.content import PackageContent
from worker.package.pictures.worst_joints import JointsOfSite

# One strip fits on a page under the heading of the section; of several, two do.
MOST_SITES_ALONE, _MOST_SITES_IN_STRIP = 20, 9
# From a fibre distance to where it lies in a picture.
ToY = Callable[[int], float]


class SiteOnScale(NamedTuple):
    """A site at its fibre distance from A; `joints` is there where losses at it were judged."""

    site: Site
    from_a_um: int
    is_submitted: bool
    joints: JointsOfSite | None


class SegmentOnScale(NamedTuple):
    """A segment, from where to where it runs."""

    segment: Segment
    first_um: int
    last_um: int
    is_submitted: bool


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A part of the route that is drawn as one; the site at which a strip ends is the first of the next.

    The sections, by their ids, lie each between two sites.
    """

    sites: Sequence[SiteOnScale]
    sections: Sequence[str]
    segments: Sequence[SegmentOnScale]

    @property
    def first_um(self) -> int:
        """Where it starts."""
        return self.sites[0].from_a_um

    @property
    def last_um(self) -> int:
        """Where it ends."""
        return self.sites[-1].from_a_um


def strips(content: PackageContent, joints: Mapping[str, JointsOfSite]) -> Sequence[Strip]:
    """Return the route as one strip if its sites find room there, else in strips of about as many sites each."""
    layout = Layout(content.design)
    sites, segments = list(_sites(content, layout, joints)), _segments(content, layout)
    sections = [section.id for section in content.design.sections]
    parts = 1 if len(sites) <= MOST_SITES_ALONE else -(-len(sections) // (_MOST_SITES_IN_STRIP - 1))
    cuts = [round(part * len(sections) / parts) for part in range(parts + 1)]
    return [
        Strip(
            sites=sites[first : last + 1],
            sections=sections[first:last],
            segments=_within(segments, low_um=sites[first].from_a_um, high_um=sites[last].from_a_um),
        )
        for first, last in pairwise(cuts)
    ]


def _sites(content: PackageContent, layout: Layout, joints: Mapping[str, JointsOfSite]) -> Iterator[SiteOnScale]:
    for site, from_a_um in zip(content.design.sites, layout.site_offsets_um, strict=True):
        is_submitted = layout.segment_of_site[site.id] in content.segments
        yield SiteOnScale(site, from_a_um, is_submitted, joints.get(site.id))


def _segments(content: PackageContent, layout: Layout) -> Sequence[SegmentOnScale]:
    """Return the segments in route order; one without a section is the sites that it names."""
    design, offsets_um = content.design, layout.site_offsets_um
    at_um = dict(zip((site.id for site in design.sites), offsets_um, strict=True))
    ends_um = dict(zip((section.id for section in design.sections), pairwise(offsets_um), strict=True))
    found = []
    for segment in design.segments:
        points_um = [at_um[site] for site in segment.sites]
        points_um += [end_um for section in segment.sections for end_um in ends_um[section]]
        if points_um:
            is_submitted = segment.id in content.segments
            found.append(SegmentOnScale(segment, min(points_um), max(points_um), is_submitted))
    return sorted(found, key=lambda one: (one.first_um, one.last_um))


def _within(segments: Sequence[SegmentOnScale], *, low_um: int, high_um: int) -> Sequence[SegmentOnScale]:
    # What only touches a strip's end belongs to the neighbour, but one of no length has no other place.
    return [
        one
        for one in segments
        if (one.first_um < high_um and one.last_um > low_um) or low_um <= one.first_um == one.last_um <= high_um
    ]
