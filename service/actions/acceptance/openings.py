"""Which closures of accepted segments were opened since, as planned for the next segment or not.

Started by: whoever asks for a status, on a snapshot.
Writes: nothing. Leaves: nothing.
"""

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from sqlmodel import Session
from typing_extensions import TypedDict

from service.storage import links, packages, submissions
from service.storage.tables import Acceptance, Record, Route
from service.vocabulary.design.layout import Layout


class OpenedClosure(TypedDict):
    """A closure that was opened, as its status says it."""

    site: str
    made_at: datetime
    is_planned: bool


def openings_since(
    session: Session, route: Route, layout: Layout, accepted: Mapping[str, Acceptance]
) -> Mapping[str, list[OpenedClosure]]:
    """Return by accepted segment the closures in it and at its ends that were opened after it was submitted.

    An opening is planned at an end of the segment, where the closure is another one's that nobody has accepted with
    that opening behind it: it is opened to join the two.
    """
    if not accepted:
        return {}
    frozen_by = {
        segment: packages.find_package(session, [route.project_id], own.package_id).submission_id
        for segment, own in accepted.items()
    }
    reached = {segment: _sites_of(layout, segment) for segment in accepted}
    lids = links.lids_opened(session, route, sorted({site for sites in reached.values() for site in sites}))
    known = submissions.frozen_among(session, route.project_id, [lid.id for lid in lids], by=frozen_by.values())
    return {
        segment: [
            _opened(lid, layout, segment, known=known, frozen_by=frozen_by)
            for lid in lids
            if lid.lid_site in sites and (frozen_by[segment], lid.id) not in known
        ]
        for segment, sites in reached.items()
    }


def _opened(
    lid: Record, layout: Layout, segment: str, *, known: set[tuple[UUID, UUID]], frozen_by: Mapping[str, UUID]
) -> OpenedClosure:
    assert lid.lid_site is not None
    owner = layout.segment_of_site[lid.lid_site]
    is_its_work = owner not in frozen_by or (frozen_by[owner], lid.id) in known
    return {"site": lid.lid_site, "made_at": lid.made_at, "is_planned": owner != segment and is_its_work}


def _sites_of(layout: Layout, segment: str) -> set[str]:
    """Return the sites of a segment and those at which its sections end."""
    own = next((one for one in layout.design.segments if one.id == segment), None)
    if own is None:
        return set()
    sections = {section: index for index, section in enumerate(one.id for one in layout.design.sections)}
    ends = {layout.design.sites[sections[section] + end].id for section in own.sections for end in (0, 1)}
    return ends.union(own.sites)
