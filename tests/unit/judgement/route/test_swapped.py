"""Traces from one end that are each other's are said of two fibres, and what honest fibres read is not."""

import pytest

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from tests.unit.judgement.outlines import Losses, copied, draw_losses, edited, traced
from worker.judgement.route.suspicions import suspicions_of

FIBRES, CLOSURES = 30, 40


def swapped(losses: Losses, one: int, other: int, *, is_forward: bool = False) -> Losses:
    """Return a route on which the traces from one end were posted for the other of two fibres."""
    changed = {side: own.copy() for side, own in losses.items()}
    for side, own in losses.items():
        if side[1] is is_forward:
            changed[side][[one - 1, other - 1]] = own[[other - 1, one - 1]]
    return changed


def seen(losses: Losses) -> list[Suspicion]:
    return [one for one in suspicions_of(traced(losses)) if one.kind is SuspicionKind.SWAPPED_DIRECTIONS]


@pytest.fixture(scope="module")
def honest() -> Losses:
    """Return what the fibres of an honest route read."""
    [losses] = draw_losses(fibres=FIBRES, closures=CLOSURES, seed=1)
    return losses


def test_honest_fibres_fit_themselves(honest: Losses) -> None:
    assert suspicions_of(traced(honest)) == []


@pytest.mark.parametrize("is_forward", [True, False])
@pytest.mark.parametrize(("one", "other"), [(3, 4), (3, 15)])
def test_traces_from_one_end_that_are_each_other_s_are_said(
    honest: Losses, one: int, other: int, is_forward: bool
) -> None:
    assert [found.fibres for found in seen(swapped(honest, one, other, is_forward=is_forward))] == [(one, other)]


def test_farther_apart_than_a_tube_they_are_not_looked_for(honest: Losses) -> None:
    assert seen(swapped(honest, 3, 16)) == []


def test_what_is_said_names_both_ways_of_reading_and_the_records(honest: Losses) -> None:
    [found] = seen(swapped(honest, 3, 4))
    assert found.detail.startswith("at 1310 nm the traces from B of fibres 3 and 4 fit each other's from A, off by 0.0")
    assert ", and not their own, off by 0." in found.detail
    assert found.records == ("3/1310/True", "3/1310/False", "4/1310/True", "4/1310/False")


def test_every_pair_of_a_tube_that_was_mixed_up_is_said(honest: Losses) -> None:
    losses = swapped(swapped(honest, 3, 4), 7, 9)
    assert [found.fibres for found in seen(losses)] == [(3, 4), (7, 9)]


def test_a_fibre_that_was_spliced_badly_all_along_is_no_swap(honest: Losses) -> None:
    worse = {side: own[3] + 150 for side, own in honest.items()}
    assert seen(copied(honest, fibre=4, read=worse)) == []


def test_a_copied_fibre_is_no_swap(honest: Losses) -> None:
    typed = {side: edited(own[2], seed=side[0], digits=2) for side, own in honest.items()}
    assert seen(copied(honest, fibre=4, read=typed)) == []


def test_one_direction_alone_tells_nothing(honest: Losses) -> None:
    assert seen({side: own for side, own in swapped(honest, 3, 4).items() if side[1]}) == []
