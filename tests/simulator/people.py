"""What people do to a trace after it was taken: events typed otherwise, readings written down from the neighbour's."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.simulator.draws import draw_between, start
from tests.simulator.faults import Fault, FaultKind
from tests.simulator.instrument import Direction
from tests.simulator.listing import Listed

# Copies differ in the last digit or two, so that nobody finds the same row twice.
_DIGIT_DB, _MOST_DIGITS = 0.001, 2
_MOST_MOVED_M = 0.3
_COPIES = {
    FaultKind.COPIED_FIBRE: frozenset(Direction),
    FaultKind.NEAR_COPY: frozenset(Direction),
    FaultKind.ONE_DIRECTION_COPIED: frozenset({Direction.B_TO_A}),
}
_DELETED = {
    FaultKind.MISSING_EVENT: frozenset({Direction.A_TO_B}),
    FaultKind.DELETED_EVENT: frozenset(Direction),
}


def copied_from(fault: Fault | None, direction: Direction) -> int | None:
    """Return whose trace is posted as that of a fibre, if it is a copy."""
    if fault is None or direction not in _COPIES.get(fault.kind, ()):
        return None
    return fault.other


def deleted_at(fault: Fault | None, direction: Direction) -> int | None:
    """Return the site whose event somebody took off the list of a trace in the instrument's software."""
    if fault is None or direction not in _DELETED.get(fault.kind, ()):
        return None
    return fault.site


def typed(listed: Sequence[Listed], fault: Fault | None, *, direction: Direction, seeds: Sequence[int]) -> list[Listed]:
    """Return the list of a trace as people typed it."""
    if fault is not None and fault.kind is FaultKind.INVERTED_SIGN and direction is Direction.A_TO_B:
        return [replace(one, loss_db=-one.loss_db) if fault.site in one.sites else one for one in listed]
    if fault is not None and fault.kind is not FaultKind.COPIED_FIBRE and copied_from(fault, direction):
        return _nearly(listed, seeds)
    return list(listed)


def _nearly(listed: Sequence[Listed], seeds: Sequence[int]) -> list[Listed]:
    source, count = start(*seeds), len(listed)
    digits = source.integers(-_MOST_DIGITS, _MOST_DIGITS + 1, count).tolist()
    moved_m = draw_between(source, (count,), low=-_MOST_MOVED_M, high=_MOST_MOVED_M).tolist()
    changed = [
        replace(
            one,
            loss_db=float(np.round(one.loss_db + digit * _DIGIT_DB, 3)) + 0.0,
            distance_m=round(one.distance_m + by_m, 2),
        )
        for one, digit, by_m in zip(listed, digits, moved_m, strict=True)
    ]
    return sorted(changed, key=lambda one: one.distance_m)
