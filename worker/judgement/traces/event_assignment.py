"""Placing a trace's events on the places of a route by their distance."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True, slots=True)
class Assignment:
    """Which events each place has, by index; at a `contested` place it is not certain which event is its own."""

    events_of_place: tuple[tuple[int, ...], ...]
    contested: frozenset[int]
    left_over: tuple[int, ...]


def assign(
    places_um: Sequence[int], events_um: Sequence[int], *, is_group: Sequence[bool], tolerance_um: int
) -> Assignment:
    """Give each place at most one event within tolerance, in order, at the least total distance.

    A place without an event and an event without a place each cost half the tolerance, so a pair is made exactly where
    it lies within tolerance. Both sequences ascend. Work is done run by run: no pair can reach over a gap wider than
    the tolerance, so on a route with a joint every kilometre each run is one place and one event. A group of joints
    also takes what is left over within tolerance of it: a short pulse sees some of its joints apart.
    """
    own = _pairs(places_um, events_um, tolerance_um=tolerance_um)
    if len(own) == len(places_um) == len(events_um):
        # As on nearly every finished fibre: each place has its event, and nothing is left to contest it.
        return Assignment(
            events_of_place=tuple([(own[place],) for place in range(len(places_um))]),
            contested=frozenset(),
            left_over=(),
        )
    events_of = {place: [event] for place, event in own.items()}
    left_over: list[int] = []
    for event in sorted(set(range(len(events_um))) - set(own.values())):
        near = [at for at in nearest_to(places_um, events_um[event])[:1] if at in own and is_group[at]]
        if near and abs(places_um[near[0]] - events_um[event]) <= tolerance_um:
            events_of[near[0]].append(event)
        else:
            left_over.append(event)
    # An event between two places may be the other one's joint; of two events at a place either may be its joint.
    without = [place for place in range(len(places_um)) if place not in own]
    owners = {event: place for place, event in own.items()}
    over_events = _contests(without, places_um, events_um, owners, tolerance_um=tolerance_um)
    over_places = _contests(left_over, events_um, places_um, own, tolerance_um=tolerance_um)
    return Assignment(
        events_of_place=tuple(tuple(sorted(events_of.get(place, ()))) for place in range(len(places_um))),
        contested=frozenset(place for loser, _, winner in over_events for place in (loser, winner))
        | frozenset(place for _, place, _ in over_places),
        left_over=tuple(left_over),
    )


def within(values: Sequence[T], at_um: int, reach_um: int, *, key: Callable[[T], int]) -> Sequence[T]:
    """Return what lies at most so far from a spot, out of what stands in order of distance."""
    first = bisect_left(values, at_um - reach_um, key=key)
    return values[first : bisect_right(values, at_um + reach_um, lo=first, key=key)]


def nearest_to(places_um: Sequence[int], at_um: int) -> list[int]:
    """Return the place nearest to a spot, or both where two are as near; places ascend."""
    near = _neighbours(places_um, at_um)
    least_um = min((abs(places_um[index] - at_um) for index in near), default=0)
    return [index for index in near if abs(places_um[index] - at_um) == least_um]


def _pairs(places_um: Sequence[int], events_um: Sequence[int], *, tolerance_um: int) -> dict[int, int]:
    pairs: dict[int, int] = {}
    for place, behind_place, event, behind_event in _runs(places_um, events_um, tolerance_um=tolerance_um):
        if behind_place == place + 1 and behind_event == event + 1:
            pairs[place] = event
        elif behind_place > place and behind_event > event:
            near_places, near_events = places_um[place:behind_place], events_um[event:behind_event]
            for own_place, own_event in _cheapest_pairs(near_places, near_events, tolerance_um=tolerance_um):
                pairs[place + own_place] = event + own_event
    return pairs


def _runs(
    places_um: Sequence[int], events_um: Sequence[int], *, tolerance_um: int
) -> Iterator[tuple[int, int, int, int]]:
    """Give, between one gap wider than the tolerance and the next, the first and behind the last place and event."""
    behind_all_um = max([*places_um[-1:], *events_um[-1:], 0]) + tolerance_um + 1
    all_places_um, all_events_um = [*places_um, behind_all_um], [*events_um, behind_all_um]
    place = event = 0
    while place < len(places_um) or event < len(events_um):
        first_place, first_event = place, event
        place_um, event_um = all_places_um[place], all_events_um[event]
        at_um = next_um = min(place_um, event_um)
        while next_um - at_um <= tolerance_um:
            at_um = next_um
            if place_um <= event_um:
                place += 1
                place_um = all_places_um[place]
            else:
                event += 1
                event_um = all_events_um[event]
            next_um = place_um if place_um <= event_um else event_um
        yield first_place, place, first_event, event


def _cheapest_pairs(places_um: Sequence[int], events_um: Sequence[int], *, tolerance_um: int) -> list[tuple[int, int]]:
    # Costs are doubled so that half a tolerance stays an integer. Row p holds the least costs of the first p places.
    rows = [[tolerance_um * event for event in range(len(events_um) + 1)]]
    for place_um in places_um:
        above = rows[-1]
        row = [above[0] + tolerance_um]
        for index, event_um in enumerate(events_um):
            paired = above[index] + 2 * abs(event_um - place_um)
            row.append(min(paired, above[index + 1] + tolerance_um, row[index] + tolerance_um))
        rows.append(row)
    return _walk_back(rows, places_um, events_um, tolerance_um=tolerance_um)


def _walk_back(
    rows: Sequence[Sequence[int]], places_um: Sequence[int], events_um: Sequence[int], *, tolerance_um: int
) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    place, event = len(places_um), len(events_um)
    while place and event:
        cost = rows[place][event]
        if cost == rows[place - 1][event - 1] + 2 * abs(events_um[event - 1] - places_um[place - 1]):
            place, event = place - 1, event - 1
            pairs.append((place, event))
        elif cost == rows[place - 1][event] + tolerance_um:
            place -= 1
        else:
            event -= 1
    return pairs


def _neighbours(positions_um: Sequence[int], at_um: int) -> list[int]:
    index = bisect_left(positions_um, at_um)
    return [near for near in (index - 1, index) if 0 <= near < len(positions_um)]


def _contests(
    losers: Iterable[int],
    losers_um: Sequence[int],
    prizes_um: Sequence[int],
    winners: Mapping[int, int],
    *,
    tolerance_um: int,
) -> Iterator[tuple[int, int, int]]:
    """Give loser, prize and winner where a prize, which the winner has, might as well be the loser's."""
    for loser in losers:
        for prize in _neighbours(prizes_um, losers_um[loser]):
            if prize not in winners:
                continue
            lost_by_um, won_by_um = (abs(losers_um[one] - prizes_um[prize]) for one in (loser, winners[prize]))
            # The loser was within tolerance too, and less than half of it farther away than the winner.
            if lost_by_um <= tolerance_um and 2 * (lost_by_um - won_by_um) <= tolerance_um:
                yield loser, prize, winners[prize]
