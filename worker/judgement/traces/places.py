"""The places of a fibre: joints that lie at one spot, which a trace shows as one event."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import groupby, pairwise
from operator import attrgetter
from typing import NamedTuple

from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.design.words import JointKind, SiteKind
from worker.judgement.traces.joint_location import Spot


class Place(NamedTuple):
    """The joints of one fibre at one site.

    At a terminal and at a patch panel they form a group: a splice a few metres behind a connection lies in its dead
    zone, and several joints share one reading. `pair` is the first mated pair, after which a group is named. `zone` are
    the indices of all sites in one dead zone with this one, where there are others.
    """

    site: str
    site_index: int
    from_a_um: int
    joints: tuple[Joint, ...]
    is_closure: bool
    is_end: bool
    pair: Joint | None
    is_group: bool
    zone: tuple[int, ...] = ()
    zone_has_pair: bool = False


class DeadZone(NamedTuple):
    """How far apart joints must lie for a trace to see them apart: beside a reflection, and else."""

    beside_pair_um: int
    pulse_um: int


class Plan(NamedTuple):
    """What a fibre's places follow from: the design, the first fibre with the same plan, and what a pulse hides."""

    layout: Layout
    first_alike: int
    dead_zone: DeadZone


class PlacesBetween(NamedTuple):
    """The places between a trace's two ends, as its light meets them, by how far from its near end they lie."""

    places: tuple[Place, ...]
    designed_um: tuple[int, ...]
    near_um: int
    span_um: int
    inside_um: tuple[int, ...]
    pairs_um: tuple[int, ...]
    has_zones: bool
    is_group: tuple[bool, ...]

    def along_um(self, located: Mapping[int, Spot]) -> Sequence[int]:
        """Return where the places lie: by design, or where they were located instead."""
        if not located:
            return self.designed_um
        return [
            abs(located[place.site_index].from_a_um - self.near_um) if place.site_index in located else along_um
            for place, along_um in zip(self.places, self.designed_um, strict=True)
        ]


@lru_cache(maxsize=64)
def places_between(plan: Plan, ends: tuple[int, int]) -> PlacesBetween:
    """Return the places between two ends, by site index, from the near end on."""
    (near, far), layout, places = ends, plan.layout, zoned_places(plan)
    low, high = min(near, far), max(near, far)
    near_um, far_um = layout.site_offsets_um[near], layout.site_offsets_um[far]
    own = [place for place in places if low <= place.site_index <= high]
    in_order = own if near < far else own[::-1]
    along_um = [abs(place.from_a_um - near_um) for place in in_order]
    both = list(zip(in_order, along_um, strict=True))
    return PlacesBetween(
        places=tuple(in_order),
        designed_um=tuple(along_um),
        near_um=near_um,
        span_um=abs(far_um - near_um),
        inside_um=tuple([along for place, along in both if low < place.site_index < high]),
        pairs_um=tuple([along for place, along in both if place.pair is not None]),
        has_zones=any(place.zone for place in own),
        is_group=tuple([place.is_group for place in in_order]),
    )


@lru_cache(maxsize=32)
def zoned_places(plan: Plan) -> tuple[Place, ...]:
    """Return the places of a fibre in route order, that know with which others they share a dead zone.

    Kept for all fibres with one splice plan: on most routes that is every fibre.
    """
    return _with_zones(_places_of(plan.layout, plan.layout.joints_of(plan.first_alike)), plan.dead_zone)


def _places_of(layout: Layout, joints: Sequence[Joint]) -> tuple[Place, ...]:
    sites = layout.design.sites
    return tuple(
        Place(
            site=sites[index].id,
            site_index=index,
            from_a_um=layout.site_offsets_um[index],
            joints=(own := tuple(members)),
            is_closure=sites[index].kind is SiteKind.SPLICE_CLOSURE,
            is_end=index in {0, len(sites) - 1},
            pair=next((joint for joint in own if joint.kind is JointKind.PAIR), None),
            is_group=len(own) > 1,
        )
        for index, members in groupby(joints, key=attrgetter("site_index"))
    )


def _with_zones(places: Sequence[Place], dead_zone: DeadZone) -> tuple[Place, ...]:
    zoned: list[Place] = []
    for own in _zones(places, dead_zone):
        if len(own) == 1:
            zoned += own
            continue
        zone, has_pair = tuple(place.site_index for place in own), any(place.pair for place in own)
        zoned += [
            place._replace(zone=zone, zone_has_pair=has_pair, is_group=place.is_group or has_pair) for place in own
        ]
    return tuple(zoned)


def zones_of(places: Sequence[Place], dead_zone: DeadZone) -> tuple[tuple[int, ...], ...]:
    """Return the site indices of each dead zone that holds several places in route order."""
    return tuple(tuple(place.site_index for place in own) for own in _zones(places, dead_zone) if len(own) > 1)


def _zones(places: Sequence[Place], dead_zone: DeadZone) -> Iterator[list[Place]]:
    linked = _linked_to_next(places, dead_zone)
    zone: list[Place] = []
    for index, place in enumerate(places):
        zone.append(place)
        if index not in linked:
            yield zone
            zone = []


def _linked_to_next(places: Sequence[Place], dead_zone: DeadZone) -> set[int]:
    linked = {
        index
        for index, (place, behind) in enumerate(pairwise(places))
        if behind.from_a_um - place.from_a_um <= dead_zone.pulse_um
    }
    for index, place in enumerate(places):
        if place.pair is not None:
            first = bisect_left(places, place.from_a_um - dead_zone.beside_pair_um, key=_from_a_um)
            behind_last = bisect_right(places, place.from_a_um + dead_zone.beside_pair_um, key=_from_a_um)
            linked.update(range(first, index))
            linked.update(range(index, behind_last - 1))
    return linked


def _from_a_um(place: Place) -> int:
    return place.from_a_um
