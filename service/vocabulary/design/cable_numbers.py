"""Under which numbers route fibres go in a cable."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from service.vocabulary.design.design import PlannedFibres


def numbers_behind(numbers: Sequence[int], first: int | None, moved: Iterable[PlannedFibres]) -> Sequence[int]:
    """Return under which cable fibre numbers fibres go on behind a site."""
    if first is not None and numbers != range(first, first + len(numbers)):
        numbers = range(first, first + len(numbers))
    changed: list[int] | None = None
    for entry in moved:
        assert entry.to_cable_fibre is not None
        changed = list(numbers) if changed is None else changed
        own = entry.fibres.numbers()
        changed[own.start - 1 : own.stop - 1] = range(entry.to_cable_fibre, entry.to_cable_fibre + len(own))
    return numbers if changed is None else changed


def runs_of(numbers: Iterable[int]) -> Sequence[tuple[int, int]]:
    """Return numbers as rising runs of neighbours, both ends included."""
    in_order = sorted(set(numbers))
    runs = [[number for _, number in run] for _, run in groupby(enumerate(in_order), key=lambda one: one[1] - one[0])]
    return [(run[0], run[-1]) for run in runs]
