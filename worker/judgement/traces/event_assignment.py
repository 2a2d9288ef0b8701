"""Placing a trace's events on the places of a route by their distance."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import le, sub
from typing import TypeVar

from worker.judgement.traces.targets import Target, Targets

T = TypeVar("T")
_NONE: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True, slots=True)
class Assignment:
    """Which events each target has, by index; at a `contested` one it is not certain which event is its own."""

    events_of_target: tuple[tuple[int, ...], ...]
    contested: frozenset[int]
    left_over: tuple[int, ...]


def assign(
    targets: Sequence[Target], events_um: Sequence[int], *, most_pairs: bool = False, same_um: int = 0
) -> Assignment:
    """Give each target at most one event within its reach, in order, at the least total distance.

    A target without an event and an event without a target each cost half the widest reach, so that with one reach for
    all a pair is made exactly where it lies within it. Both sequences ascend, and every target says its reach. Work is
    done run by run: no pair can reach over a wider gap, so on a route with a joint every kilometre each run is one
    target and one event. A group also takes what is left over within its reach, if no other target is as near: a short
    pulse sees some of its joints apart. So does a target of which two events lie nearer together than `same_um`. With
    `most_pairs` as few as can be are left without a partner, however far that takes the others.
    """
    if not isinstance(targets, Targets):
        targets = Targets.of(targets)
    own_um = [within_um or 0 for within_um in targets.within_um]
    reach_um = max(own_um, default=0)
    if _are_apart(targets, reach_um=reach_um):
        if _has_each_its_own(targets, events_um, own_um):
            return _one_each(len(targets))
        plain = _plain_pairs(targets, events_um, own_um)
        if plain is not None:
            return _plain(targets, events_um, plain)
    targets = list(targets)
    own = _pairs(targets, events_um, reach_um=reach_um, alone_um=reach_um * (len(targets) + 1 if most_pairs else 1))
    # One event each would give a place beyond a group what the group has more than one of.
    own = {
        index: event
        for index, event in own.items()
        if (group := _group_of(targets, events_um[event])) in {None, index} or group not in own
    }
    events_of = {index: [event] for index, event in own.items()}
    left_over = []
    contested: set[int] = set()
    for event in sorted(set(range(len(events_um))) - set(own.values())):
        group = _group_of(targets, events_um[event])
        if group is None:
            group = _same_joint(targets, events_um, own, event, same_um=same_um)
            if group is not None and len(events_of[group]) > 1:
                # A third one is no joint any more.
                contested.add(group)
        if group is None or group not in own:
            left_over.append(event)
            contested.update(_rivals_of_own(targets, events_um, own, event))
        else:
            events_of[group].append(event)
            contested.update(_other_owners(targets, group, events_um[event]))
    contested.update(_owned_by_others(targets, events_um, own))
    return Assignment(
        events_of_target=tuple(tuple(sorted(events_of.get(index, ()))) for index in range(len(targets))),
        contested=frozenset(contested),
        left_over=tuple(left_over),
    )


def _are_apart(targets: Targets, *, reach_um: int) -> bool:
    """Tell whether no event is within reach of two targets, as nearly always."""
    if not targets or targets.low_um[0] < 0:
        return not targets
    return min(map(sub, targets.low_um[1:], targets.high_um), default=2 * reach_um + 1) > 2 * reach_um


def _has_each_its_own(targets: Targets, events_um: Sequence[int], own_um: Sequence[int]) -> bool:
    """Tell whether of targets apart each has the event of its number within its reach, and there are no more."""
    if len(events_um) != len(targets):
        return False
    before_um = map(sub, targets.low_um, events_um)
    if targets.high_um is targets.low_um:
        return all(map(le, map(abs, before_um), own_um))
    return all(map(le, map(max, before_um, map(sub, events_um, targets.high_um)), own_um))


@lru_cache(maxsize=64)
def _one_each(count: int) -> Assignment:
    return Assignment(events_of_target=tuple([(one,) for one in range(count)]), contested=_NONE, left_over=())


def _plain_pairs(targets: Targets, events_um: Sequence[int], all_own_um: Sequence[int]) -> dict[int, int] | None:
    """Return the pairs of targets apart, where no target is within reach of two events, as nearly always."""
    pairs: dict[int, int] = {}
    event, count = 0, len(events_um)
    for index, (low_um, high_um, own_um) in enumerate(zip(targets.low_um, targets.high_um, all_own_um, strict=True)):
        while event < count and events_um[event] < low_um - own_um:
            event += 1
        if event < count and events_um[event] <= high_um + own_um:
            pairs[index] = event
            event += 1
            if event < count and events_um[event] <= high_um + own_um:
                return None
    return pairs


def _plain(targets: Sequence[Target], events_um: Sequence[int], own: dict[int, int]) -> Assignment:
    """Return an assignment in which nothing is contested: nothing else is within reach of anything."""
    taken = set(own.values())
    events_of: list[tuple[int, ...]] = [()] * len(targets)
    for index, event in own.items():
        events_of[index] = (event,)
    left_over = () if len(taken) == len(events_um) else [one for one in range(len(events_um)) if one not in taken]
    return Assignment(events_of_target=tuple(events_of), contested=_NONE, left_over=tuple(left_over))


def within(values: Sequence[T], at_um: int, reach_um: int, *, key: Callable[[T], int]) -> Sequence[T]:
    """Return what lies at most so far from a spot, out of what stands in order of distance."""
    first = bisect_left(values, at_um - reach_um, key=key)
    return values[first : bisect_right(values, at_um + reach_um, lo=first, key=key)]


def nearest_targets(targets: Sequence[Target], at_um: int) -> list[int]:
    """Return the target nearest to a spot, or both where two are as near; targets ascend."""
    near = near_targets(targets, at_um)
    least_um = min((targets[index].off_um(at_um) for index in near), default=0)
    return [index for index in near if targets[index].off_um(at_um) == least_um]


def near_targets(targets: Sequence[Target], at_um: int) -> list[int]:
    """Return the targets next to a spot on either side, or that it lies in."""
    behind = bisect_left(targets, at_um, key=_low_of)
    return [index for index in (behind - 1, behind) if 0 <= index < len(targets)]


def _low_of(target: Target) -> int:
    return target.low_um


def _reach_of(target: Target) -> int:
    return target.within_um or 0


def _group_of(targets: Sequence[Target], event_um: int) -> int | None:
    """Return the group that alone is nearest to an event and reaches it."""
    nearest = nearest_targets(targets, event_um)
    if len(nearest) != 1:
        return None
    target = targets[nearest[0]]
    return nearest[0] if target.is_group and target.off_um(event_um) <= _reach_of(target) else None


def _same_joint(
    targets: Sequence[Target], events_um: Sequence[int], own: dict[int, int], event: int, *, same_um: int
) -> int | None:
    """Return the target that alone is nearest to an event and has another one nearer to it than so much."""
    nearest = nearest_targets(targets, events_um[event])
    if len(nearest) != 1 or nearest[0] not in own:
        return None
    is_near = abs(events_um[own[nearest[0]]] - events_um[event]) < same_um
    return (
        nearest[0]
        if is_near and targets[nearest[0]].off_um(events_um[event]) <= _reach_of(targets[nearest[0]])
        else None
    )


def _pairs(targets: Sequence[Target], events_um: Sequence[int], *, reach_um: int, alone_um: int) -> dict[int, int]:
    pairs: dict[int, int] = {}
    for first, behind_last, event, behind_event in _runs(targets, events_um, reach_um=reach_um):
        if behind_last == first + 1 and behind_event == event + 1:
            if targets[first].off_um(events_um[event]) <= _reach_of(targets[first]):
                pairs[first] = event
        elif behind_last > first and behind_event > event:
            found = _cheapest_pairs(targets[first:behind_last], events_um[event:behind_event], alone_um=alone_um)
            for own_target, own_event in found:
                pairs[first + own_target] = event + own_event
    return pairs


def _runs(targets: Sequence[Target], events_um: Sequence[int], *, reach_um: int) -> Iterator[tuple[int, int, int, int]]:
    """Give, between one gap wider than any reach and the next, the first and behind the last target and event."""
    ends_um = [target.high_um for target in targets[-1:]]
    behind_all_um = max([*ends_um, *events_um[-1:], 0]) + reach_um + 1
    lows_um, highs_um = (
        [*own, behind_all_um]
        for own in (
            [target.low_um for target in targets],
            [target.high_um for target in targets],
        )
    )
    all_events_um = [*events_um, behind_all_um]
    index = event = 0
    while index < len(targets) or event < len(events_um):
        first, first_event = index, event
        reached_um = min(lows_um[index], all_events_um[event])
        while min(lows_um[index], all_events_um[event]) - reached_um <= reach_um:
            if lows_um[index] <= all_events_um[event]:
                reached_um = max(reached_um, highs_um[index])
                index += 1
            else:
                reached_um = max(reached_um, all_events_um[event])
                event += 1
        yield first, index, first_event, event


def _cheapest_pairs(targets: Sequence[Target], events_um: Sequence[int], *, alone_um: int) -> list[tuple[int, int]]:
    # Costs are doubled so that half a reach stays an integer. Row t holds the least costs of the first t targets.
    rows = [[alone_um * event for event in range(len(events_um) + 1)]]
    for target in targets:
        above = rows[-1]
        row = [above[0] + alone_um]
        for index, event_um in enumerate(events_um):
            alone = min(above[index + 1], row[index]) + alone_um
            off_um = target.off_um(event_um)
            row.append(min(above[index] + 2 * off_um, alone) if off_um <= _reach_of(target) else alone)
        rows.append(row)
    return _walk_back(rows, targets, events_um, alone_um=alone_um)


def _walk_back(
    rows: Sequence[Sequence[int]], targets: Sequence[Target], events_um: Sequence[int], *, alone_um: int
) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    index, event = len(targets), len(events_um)
    while index and event:
        cost, off_um = rows[index][event], targets[index - 1].off_um(events_um[event - 1])
        if off_um <= _reach_of(targets[index - 1]) and cost == rows[index - 1][event - 1] + 2 * off_um:
            index, event = index - 1, event - 1
            pairs.append((index, event))
        elif cost == rows[index - 1][event] + alone_um:
            index -= 1
        else:
            event -= 1
    return pairs


# What was within reach too, and less than half of that farther away than the winner, might as well have won: an event
# between two places may be the other one's joint, and of two events at a place either may be its joint.


def _owned_by_others(targets: Sequence[Target], events_um: Sequence[int], own: dict[int, int]) -> Iterator[int]:
    """Give each target without an event that another's might be, with that other."""
    owners = {event: index for index, event in own.items()}
    for index, target in enumerate(targets):
        if index in own:
            continue
        for event in _neighbours(events_um, target.low_um, target.high_um):
            winner = owners.get(event)
            if winner is not None and _is_close(target, targets[winner], events_um[event], events_um[event]):
                yield from (index, winner)


def _rivals_of_own(targets: Sequence[Target], events_um: Sequence[int], own: dict[int, int], event: int) -> list[int]:
    """Return the targets whose event might as well be one that no target has."""
    return [
        index
        for index in near_targets(targets, events_um[event])
        if index in own and _is_close(targets[index], targets[index], events_um[event], events_um[own[index]])
    ]


def _other_owners(targets: Sequence[Target], group: int, event_um: int) -> list[int]:
    """Return the targets whose event one might as well be that a group takes, and the group itself with them."""
    others = [
        index
        for index in (group - 1, group + 1)
        if 0 <= index < len(targets) and _is_close(targets[index], targets[group], event_um, event_um)
    ]
    return [*others, group] if others else []


def _is_close(loser: Target, winner: Target, lost_um: int, won_um: int) -> bool:
    lost_by_um, won_by_um, reach_um = loser.off_um(lost_um), winner.off_um(won_um), _reach_of(loser)
    return lost_by_um <= reach_um and 2 * (lost_by_um - won_by_um) <= reach_um


def _neighbours(events_um: Sequence[int], low_um: int, high_um: int) -> range:
    """Return the last event before a stretch, those in it, and the first one behind it."""
    first, behind = bisect_left(events_um, low_um), bisect_right(events_um, high_um)
    return range(max(first - 1, 0), min(behind + 1, len(events_um)))
