"""The places of a fibre: joints that lie at one spot, which a trace shows as one event."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import groupby, pairwise
from operator import attrgetter
from typing import NamedTuple

from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.design.words import JointKind, SiteKind
from worker.judgement.history.acts import UM_PER_NS_OF_PULSE
from worker.judgement.traces.spots import SPOT_STEP_M, Spots
from worker.judgement.traces.targets import Target, Targets


class Place(NamedTuple):
    """The joints of one fibre at one site.

    At a terminal and at a patch panel they form a group: a splice a few metres behind a connection lies in its dead
    zone, and several joints share one reading. `pair` is the first mated pair, after which a group is named. `zone` are
    the indices of all sites in one dead zone with this one, where there are others. An event of the place lies
    `within_um` of it, where the cable's fibres tell how far.
    """

    site: str
    site_index: int
    from_a_um: int
    joints: tuple[Joint, ...]
    is_closure: bool
    is_end: bool
    pair: Joint | None
    is_group: bool
    within_um: int | None = None
    zone: tuple[int, ...] = ()
    zone_has_pair: bool = False


class DeadZone(NamedTuple):
    """How far apart joints must lie for a trace to see them apart: beside a reflection, and else."""

    beside_pair_um: int
    beside_splice_um: int


# No instrument parts two splices that are nearer than 1.6 pulses, from memory.
_SURELY_MERGED_TENTHS = 16


def pulse_um_of(pulse_ns: int) -> int:
    """Return how much fibre a pulse covers."""
    return pulse_ns * UM_PER_NS_OF_PULSE


def surely_merged_um(pulse_ns: int) -> int:
    """Return how near two splices lie that no instrument parts by a pulse."""
    return pulse_um_of(pulse_ns) * _SURELY_MERGED_TENTHS // 10


def blur_um(pulse_ns: int) -> int:
    """Return how far off a pulse places an event: a quarter of itself in the fibre, common practice (no source)."""
    return pulse_um_of(pulse_ns) // 4


class Plan(NamedTuple):
    """What a fibre's places follow from: where sites are, the first fibre with its plan, and what a pulse hides."""

    spots: Spots
    first_alike: int
    dead_zone: DeadZone

    @property
    def layout(self) -> Layout:
        """The design."""
        return self.spots.layout


class PlacesBetween(NamedTuple):
    """The places between a trace's two ends, as its light meets them, by how far from its near end they lie.

    `targets` are the places one by one, or several together that a dead zone covers, each with its places by index.
    `alone` is of each place its target, unless it is an end of the route or in a dead zone; `target_of_site` of all.
    `sites` are theirs by index, from A on.
    Distances are the design's: `span_um` of the fibre begin `near_um` from A, and targets lie at least `least_gap_um`
    apart. `inside_um` and `pairs_um` are where the design has joints and mated pairs, whatever the fibres tell.
    """

    plan: Plan
    ends: tuple[int, int]
    places: tuple[Place, ...]
    targets: Targets
    members: tuple[tuple[int, ...], ...]
    alone: tuple[int | None, ...]
    sites: tuple[int, ...]
    target_of_site: Mapping[int, int]
    least_gap_um: int
    near_um: int
    span_um: int
    inside_um: tuple[int, ...]
    pairs_um: tuple[int, ...]

    def spot_um(self, along_um: int) -> int:
        """Return how far from A in the design something lies that is so far along the span."""
        spots, (near, far) = self.plan.spots, self.ends
        if spots.is_designed:
            return self.near_um + (along_um if near < far else -along_um)
        near_um, far_um = spots.offsets_um[near], spots.offsets_um[far]
        return spots.in_design_um(near_um + (far_um - near_um) * along_um // self.span_um if self.span_um else near_um)


@lru_cache(maxsize=64)
def places_between(plan: Plan, ends: tuple[int, int]) -> PlacesBetween:
    """Return the places between two ends, by site index, from the near end on."""
    (near, far), offsets_um, designed_um = ends, plan.spots.offsets_um, plan.layout.site_offsets_um
    low, high = min(near, far), max(near, far)
    own = [place for place in zoned_places(plan) if low <= place.site_index <= high]
    in_order = own if near < far else own[::-1]
    span_um, located_um = abs(designed_um[far] - designed_um[near]), abs(offsets_um[far] - offsets_um[near])
    # Each trace is laid out by its own length, so between its ends, wherever these really are, shares count.
    along_um = [
        abs(place.from_a_um - offsets_um[near]) * span_um // located_um if located_um else 0 for place in in_order
    ]
    members = tuple(_together(in_order))
    targets = Targets.of([_target(in_order, along_um, one) for one in members])
    target_of = {member: index for index, own in enumerate(members) for member in own}
    by_design = [(place, abs(designed_um[place.site_index] - designed_um[near])) for place in in_order]
    return PlacesBetween(
        plan=plan,
        ends=ends,
        places=tuple(in_order),
        targets=targets,
        members=members,
        alone=tuple([None if one.is_end or one.zone else target_of[index] for index, one in enumerate(in_order)]),
        sites=tuple([place.site_index for place in own]),
        target_of_site={in_order[member].site_index: index for member, index in target_of.items()},
        least_gap_um=min([behind.low_um - one.high_um for one, behind in pairwise(targets)], default=span_um),
        near_um=designed_um[near],
        span_um=span_um,
        inside_um=tuple([along for place, along in by_design if low < place.site_index < high]),
        pairs_um=tuple([along for place, along in by_design if place.pair is not None]),
    )


def _together(places: Sequence[Place]) -> Iterator[tuple[int, ...]]:
    """Give the indices of the places that one reading is of: of each by itself, or of a dead zone."""
    for _, own in groupby(range(len(places)), key=lambda index: places[index].zone or index):
        yield tuple(own)


def _target(places: Sequence[Place], along_um: Sequence[int], members: tuple[int, ...]) -> Target:
    within_um = [places[index].within_um for index in members]
    known_um = [one for one in within_um if one is not None]
    return Target(
        low_um=along_um[members[0]],
        high_um=along_um[members[-1]],
        within_um=max(known_um) if len(known_um) == len(within_um) else None,
        is_group=len(members) > 1 or places[members[0]].is_group,
    )


@lru_cache(maxsize=32)
def zoned_places(plan: Plan) -> tuple[Place, ...]:
    """Return the places of a fibre in route order, that know with which others they share a dead zone.

    Kept for all fibres with one splice plan: on most routes that is every fibre.
    """
    places = _places_of(plan.spots, plan.layout.joints_of(plan.first_alike))
    return _with_zones(places, plan.dead_zone)


def _places_of(spots: Spots, joints: Sequence[Joint]) -> tuple[Place, ...]:
    sites = spots.layout.design.sites
    return tuple(
        Place(
            site=sites[index].id,
            site_index=index,
            from_a_um=spots.offsets_um[index],
            joints=(own := tuple(members)),
            is_closure=sites[index].kind is SiteKind.SPLICE_CLOSURE,
            is_end=index in {0, len(sites) - 1},
            pair=next((joint for joint in own if joint.kind is JointKind.PAIR), None),
            is_group=len(own) > 1,
            within_um=spots.within_um[index],
        )
        for index, members in groupby(joints, key=attrgetter("site_index"))
    )


def _with_zones(places: Sequence[Place], dead_zone: DeadZone) -> tuple[Place, ...]:
    zoned: list[Place] = []
    for own in _zones(places, dead_zone):
        zone, has_pair = tuple(place.site_index for place in own), any(place.pair for place in own)
        if len(own) == 1:
            zoned += own
            continue
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
        if behind.from_a_um - place.from_a_um <= dead_zone.beside_splice_um + _doubt_um(place, behind)
    }
    for index, place in enumerate(places):
        if place.pair is not None:
            first = bisect_left(places, place.from_a_um - dead_zone.beside_pair_um, key=_from_a_um)
            behind_last = bisect_right(places, place.from_a_um + dead_zone.beside_pair_um, key=_from_a_um)
            linked.update(range(first, index))
            linked.update(range(index, behind_last - 1))
    return linked


def _doubt_um(place: Place, behind: Place) -> int:
    """Return how much nearer than they are thought two places may be: spots are rounded."""
    return 0 if place.within_um is None and behind.within_um is None else SPOT_STEP_M * 1_000_000


def _from_a_um(place: Place) -> int:
    return place.from_a_um
