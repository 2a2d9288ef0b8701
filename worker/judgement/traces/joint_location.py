"""Where a fibre's joints lie by all its traces together: a spot seen from both ends supports each of them."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from operator import attrgetter
from statistics import median_low
from typing import NamedTuple

from worker.judgement.traces.event_assignment import assign, within


class Sighting(NamedTuple):
    """An event of a trace that proves its length, in the design's fibre distance from A."""

    from_a_um: int
    record: str
    is_forward: bool


class Spot(NamedTuple):
    """Events of different traces at one distance; `is_firm` tells whether both directions show it.

    It is blurred where one trace shows two events so near that the others' could be either.
    """

    from_a_um: int
    records: tuple[str, ...]
    is_firm: bool
    is_blurred: bool


class Margins(NamedTuple):
    """How far apart may lie: a joint and its design, sightings of one spot, a joint and its design with no rival."""

    tolerance_um: int
    same_spot_um: int
    off_spot_um: int


class Agreement(NamedTuple):
    """The spots that are certainly those of places, and the places of which it is uncertain which spot is theirs.

    `rivalled` are the places that have another spot within tolerance besides their own, with the records that show
    their own: what any other record shows there may be that other spot.
    """

    spots: Mapping[int, Spot]
    doubted: frozenset[int]
    rivalled: Mapping[int, frozenset[str]]

    def doubted_by(self, record: str, sites_seen: Iterable[int]) -> frozenset[int]:
        """Return the places of which it is uncertain what a record shows, out of those at which it shows an event."""
        other = {site for site in sites_seen if site in self.rivalled and record not in self.rivalled[site]}
        return self.doubted | other


def locate_joints(
    sightings: Sequence[Sighting],
    places_um: Sequence[int],
    *,
    movable: Sequence[bool],
    is_group: Sequence[bool],
    margins: Margins,
) -> Agreement:
    """Return on which spots both directions agree, by the index of places in order of distance.

    A place that is not movable keeps the spot that the design gives it. A place that has no event within tolerance is
    given one farther off only where neither could be meant for anything else: no other place is as near to the spot,
    and no other spot to the place.
    """
    spots = _spots(sightings, same_spot_um=margins.same_spot_um)
    spots_um = [spot.from_a_um for spot in spots]
    found = assign(places_um, spots_um, is_group=is_group, tolerance_um=margins.tolerance_um)
    own = {place: events[0] for place, events in enumerate(found.events_of_place) if events}
    agreed = {
        place: event
        for place, event in own.items()
        if place not in found.contested and len(found.events_of_place[place]) == 1
    }
    # A joint may be built tens of metres from its design: a closure moved, slack left elsewhere. A spot is taken for it
    # only where it can be no other's, or a loss beside a joint would pass for the joint.
    for event in found.left_over:
        near_places = _within(places_um, spots_um[event], margins.off_spot_um)
        if len(near_places) != 1 or near_places[0] in own:
            continue
        if _within(spots_um, places_um[near_places[0]], margins.off_spot_um) == [event]:
            agreed[near_places[0]] = event
    return Agreement(
        spots={place: spots[event] for place, event in agreed.items() if movable[place] and spots[event].is_firm},
        # What both directions show is likelier the joint than what one does. Where nearness says otherwise, either may
        # be wrong.
        doubted=frozenset(
            place
            for place, event in own.items()
            if not is_group[place] and _is_doubtful(spots, event, places_um[place], reach_um=margins.tolerance_um)
        ),
        rivalled={
            place: frozenset(spots[event].records)
            for place, event in own.items()
            if not is_group[place] and len(_within(spots_um, places_um[place], margins.tolerance_um)) > 1
        },
    )


def _is_doubtful(spots: Sequence[Spot], own: int, at_um: int, *, reach_um: int) -> bool:
    if spots[own].is_blurred or spots[own].is_firm:
        return spots[own].is_blurred
    return any(spot.is_firm for spot in within(spots, at_um, reach_um, key=attrgetter("from_a_um")))


def _spots(sightings: Sequence[Sighting], *, same_spot_um: int) -> list[Spot]:
    clusters = list(_clusters(sightings, same_spot_um=same_spot_um))
    blurred: set[int] = set()
    for index, (own, behind) in enumerate(pairwise(clusters)):
        shared = {sighting.record for sighting in own} & {sighting.record for sighting in behind}
        if shared and behind[0].from_a_um - own[-1].from_a_um <= same_spot_um:
            blurred |= {index, index + 1}
    return [_spot(own, is_blurred=index in blurred) for index, own in enumerate(clusters)]


def _clusters(sightings: Sequence[Sighting], *, same_spot_um: int) -> Iterator[list[Sighting]]:
    own: list[Sighting] = []
    # Measured from a cluster's first sighting, as a chain of near ones could grow without end. A trace shows one joint
    # once, so that its second event nearby is another spot.
    for sighting in sorted(sightings):
        is_other = own and sighting.from_a_um - own[0].from_a_um > same_spot_um
        if is_other or any(sighting.record == other.record for other in own):
            yield own
            own = []
        own.append(sighting)
    if own:
        yield own


def _spot(own: Sequence[Sighting], *, is_blurred: bool) -> Spot:
    return Spot(
        from_a_um=median_low(sighting.from_a_um for sighting in own),
        records=tuple(sorted(sighting.record for sighting in own)),
        is_firm=not is_blurred and len({sighting.is_forward for sighting in own}) == 2,
        is_blurred=is_blurred,
    )


def _within(positions_um: Sequence[int], at_um: int, reach_um: int) -> list[int]:
    first = bisect_left(positions_um, at_um - reach_um)
    behind_last = bisect_right(positions_um, at_um + reach_um)
    return list(range(first, min(behind_last, first + 2)))
