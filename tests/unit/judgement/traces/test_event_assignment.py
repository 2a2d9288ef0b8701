"""Events are placed in order, one to one, at the least total distance."""

from collections.abc import Iterator
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.judgement.traces.event_assignment import Assignment, assign, nearest_targets
from worker.judgement.traces.targets import Target

TOLERANCE = 10


def place(places: list[int], events: list[int], *, groups: frozenset[int] = frozenset()) -> Assignment:
    """Assign without groups, unless some places are."""
    return assign(targets(places, groups=groups), events)


def targets(places: list[int], *, groups: frozenset[int] = frozenset(), within: int = TOLERANCE) -> list[Target]:
    """Return places of one reach, each at one distance."""
    return [Target(at, at, within, is_group=index in groups) for index, at in enumerate(places)]


def pairs(assignment: Assignment) -> list[tuple[int, int]]:
    """Return place and event of each pair."""
    return [(index, event) for index, own in enumerate(assignment.events_of_target) for event in own]


@pytest.mark.parametrize(("event", "own"), [(90, (0,)), (110, (0,)), (89, ()), (111, ())])
def test_an_event_at_the_tolerance_is_taken_and_one_step_beyond_is_not(event: int, own: tuple[int, ...]) -> None:
    assignment = place([100], [event])
    assert assignment.events_of_target == (own,)
    assert assignment.left_over == (() if own else (0,))


def test_two_events_near_two_places_are_placed_in_order() -> None:
    assignment = place([100, 104], [103, 107])
    assert pairs(assignment) == [(0, 0), (1, 1)]
    assert assignment.contested == frozenset()


def test_an_event_that_two_places_could_claim_belongs_to_neither_for_certain() -> None:
    assert place([100, 108], [103]).contested == {0, 1}


def test_an_event_much_nearer_to_one_place_is_its_own() -> None:
    assignment = place([100, 108], [100])
    assert (pairs(assignment), assignment.contested) == ([(0, 0)], frozenset())


def test_two_events_near_one_place_leave_it_uncertain() -> None:
    assert place([100], [98, 103]).contested == {0}
    assert place([100], [100, 106]).contested == frozenset()


@pytest.mark.parametrize(("spot", "nearest"), [(0, [0]), (149, [0]), (150, [0, 1]), (151, [1]), (999, [1])])
def test_the_nearest_place_is_found_at_any_distance(spot: int, nearest: list[int]) -> None:
    assert nearest_targets(targets([100, 200]), spot) == nearest


def test_without_places_none_is_nearest() -> None:
    assert nearest_targets([], 100) == []


def test_a_group_takes_all_events_near_it() -> None:
    assignment = place([100], [98, 103], groups=frozenset({0}))
    assert (assignment.events_of_target, assignment.contested, assignment.left_over) == (((0, 1),), frozenset(), ())


POSITIONS = st.lists(st.integers(0, 80), max_size=6).map(sorted)


@given(places=POSITIONS, events=POSITIONS)
def test_no_other_assignment_in_order_costs_less(places: list[int], events: list[int]) -> None:
    found = pairs(place(places, events))
    assert found == sorted(found)
    assert len({event for _, event in found}) == len(found)
    assert all(abs(places[p] - events[e]) <= TOLERANCE for p, e in found)
    assert cost(found, places, events) == min(cost(other, places, events) for other in all_in_order(places, events))


@given(places=POSITIONS, events=POSITIONS)
def test_every_event_is_placed_or_left_over(places: list[int], events: list[int]) -> None:
    assignment = place(places, events)
    assert sorted([event for _, event in pairs(assignment)] + list(assignment.left_over)) == list(range(len(events)))


def cost(found: list[tuple[int, int]], places: list[int], events: list[int]) -> float:
    """Return total distance, and half the tolerance for each place and event without a partner."""
    alone = len(places) + len(events) - 2 * len(found)
    return sum(abs(places[p] - events[e]) for p, e in found) + alone * TOLERANCE / 2


def all_in_order(places: list[int], events: list[int]) -> Iterator[list[tuple[int, int]]]:
    """Yield every assignment in order."""
    for size in range(min(len(places), len(events)) + 1):
        for some_places in combinations(range(len(places)), size):
            for some_events in combinations(range(len(events)), size):
                yield list(zip(some_places, some_events, strict=True))


# Of 100 to 107 and a place at 115: the event at 108 is nearer to the group, that at 112 nearer to the place.
@pytest.mark.parametrize(("event", "own"), [(106, ((0, 1), ())), (108, ((0, 1), ())), (112, ((0,), (1,)))])
def test_a_place_takes_no_event_that_lies_nearer_to_a_group(event: int, own: tuple[tuple[int, ...], ...]) -> None:
    found = assign(
        [Target(100, 107, TOLERANCE, is_group=True), Target(115, 115, TOLERANCE, is_group=False)], [100, event]
    )
    assert found.events_of_target == own
