"""What another design would unsettle on a route, were it in force now: looked up, nothing judged.

Started by: whoever proposes a design or is to agree to it, on a snapshot.
Writes: nothing. Leaves: nothing.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from uuid import UUID

from sqlmodel import Session
from typing_extensions import TypedDict

from service.actions.acceptance.status import status_of
from service.actions.routes.cables import correct_others
from service.storage import routes
from service.storage.records import records_naming
from service.storage.tables import Route
from service.vocabulary.design.billing_quantities import SegmentQuantities, quantities_by_segment
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import JointKind
from service.vocabulary.words import Standing


class FibreNumbers(TypedDict):
    """Fibres from one number to another."""

    first: int
    last: int


class NamedSite(TypedDict):
    """A site that records name, and how many."""

    site: str
    records: int


class SegmentEffect(TypedDict):
    """What a segment is paid for by the design in force and by the other; none where it is not in one of the two.

    `status` is where it stands now. What was accepted and billed stays so.
    """

    id: str
    status: Standing | None
    is_paid_otherwise: bool
    before: SegmentQuantities | None
    after: SegmentQuantities | None


class CorrectedRoute(TypedDict):
    """Another route that passes cable of which the design says other facts, and the sections."""

    id: UUID
    code: str
    sections: list[str]


class DesignEffects(TypedDict):
    """What a design would unsettle.

    By another design every fibre is judged again. Those listed have other joints, or other fibres of a cable. Records
    that name a site which goes stay, and count no more. `other_routes` are judged and paid by a revision of their own
    that says the same of the cable, from the same agreement on.
    """

    fibres_judged_again: int
    fibres_joined_otherwise: list[FibreNumbers]
    sites_added: list[str]
    sites_gone: list[str]
    records_at_sites_gone: list[NamedSite]
    segments: list[SegmentEffect]
    other_routes: list[CorrectedRoute]


def effects_of(session: Session, route: Route, after: Layout) -> DesignEffects:
    """Return what a design that fits a route would unsettle on it."""
    before = routes.layout_of(session, route)
    standing = {one["id"]: one["status"] for one in status_of(session, route)["segments"]}
    gone = [site.id for site in before.design.sites if site.id not in after.site_index]
    is_same = after.design == before.design
    return {
        "fibres_judged_again": 0 if is_same else before.design.fibre_count,
        "fibres_joined_otherwise": [] if is_same else _in_ranges(_joined_otherwise(before, after)),
        "sites_added": [site.id for site in after.design.sites if site.id not in before.site_index],
        "sites_gone": gone,
        "records_at_sites_gone": [
            {"site": site, "records": number} for site, number in records_naming(session, route, gone).items()
        ],
        "segments": _segment_effects(before, after, standing),
        "other_routes": [
            {"id": one.route.id, "code": one.route.code, "sections": one.sections}
            for one in correct_others(session, route, after.design)
        ],
    }


def _joined_otherwise(before: Layout, after: Layout) -> Iterator[int]:
    """Give the fibres that are joined at other places, in another way, or to other fibres of a cable."""
    have_other_sections = _sections(before) != _sections(after)

    @cache
    def have_other_joints(first: int, then: int) -> bool:
        # The first of all fibres that are alike, by the one design and by the other.
        return _joints(before, first) != _joints(after, then)

    for fibre in range(1, before.design.fibre_count + 1):
        if (
            have_other_sections
            or have_other_joints(before.first_alike(fibre), after.first_alike(fibre))
            or before.cable_fibres(fibre) != after.cable_fibres(fibre)
        ):
            yield fibre


def _joints(layout: Layout, fibre: int) -> list[tuple[str, int, JointKind]]:
    return [(joint.site, joint.position, joint.kind) for joint in layout.joints_of(fibre)]


def _sections(layout: Layout) -> list[str]:
    return [section.id for section in layout.design.sections]


def _in_ranges(numbers: Iterator[int]) -> list[FibreNumbers]:
    ranges: list[FibreNumbers] = []
    for number in numbers:
        if ranges and ranges[-1]["last"] == number - 1:
            ranges[-1]["last"] = number
        else:
            ranges.append({"first": number, "last": number})
    return ranges


def _segment_effects(before: Layout, after: Layout, standing: Mapping[str, Standing]) -> list[SegmentEffect]:
    paid_before, paid_after = quantities_by_segment(before), quantities_by_segment(after)
    return [
        {
            "id": id_,
            "status": standing.get(id_),
            "is_paid_otherwise": paid_before.get(id_) != paid_after.get(id_),
            "before": paid_before.get(id_),
            "after": paid_after.get(id_),
        }
        for id_ in {**paid_before, **paid_after}
    ]
