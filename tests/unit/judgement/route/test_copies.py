"""Fibres that were copied from others are said, whichever way, and what is usual in honest work is not."""

from collections.abc import Mapping

import pytest

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from tests.unit.judgement.outlines import Losses, copied, draw_losses, draw_powers, edited, powered, traced
from worker.judgement.fibre.contributions import Contributions, LinkOutline
from worker.judgement.route.suspicions import MOST_OF_A_KIND, suspicions_of

FIBRES, CLOSURES = 24, 22
COPIED, SOURCE = 12, 11


def seen(contributions: Mapping[int, Contributions], kind: SuspicionKind) -> list[Suspicion]:
    return [one for one in suspicions_of(contributions) if one.kind is kind]


def near(losses: Losses, *, step_mdb: int = 1) -> list[tuple[int, ...]]:
    found = seen(traced(losses, step_mdb=step_mdb), SuspicionKind.NEARLY_SAME_READINGS)
    return [one.fibres for one in found]


@pytest.fixture(scope="module")
def twice() -> list[Losses]:
    """Return what an honest route's fibres read, measured twice."""
    return draw_losses(fibres=FIBRES, closures=CLOSURES, seed=1, times=2)


def test_honest_fibres_are_not_alike(twice: list[Losses]) -> None:
    assert suspicions_of(traced(twice[0])) == []


@pytest.mark.parametrize("digits", [1, 2, 5])
def test_the_neighbour_s_readings_with_other_last_digits_are_said(twice: list[Losses], digits: int) -> None:
    typed = {side: edited(own[SOURCE - 1], seed=side[0], digits=digits) for side, own in twice[0].items()}
    assert near(copied(twice[0], fibre=COPIED, read=typed)) == [(SOURCE, COPIED)]


def test_in_hundredths_too(twice: list[Losses]) -> None:
    typed = {side: edited(own[SOURCE - 1], seed=side[0], digits=1, step_mdb=10) for side, own in twice[0].items()}
    assert near(copied(twice[0], fibre=COPIED, read=typed), step_mdb=10) == [(SOURCE, COPIED)]


def test_the_neighbour_measured_again_under_another_number_is_said(twice: list[Losses]) -> None:
    again = {side: own[SOURCE - 1] for side, own in twice[1].items()}
    assert near(copied(twice[0], fibre=COPIED, read=again)) == [(SOURCE, COPIED)]


@pytest.mark.parametrize("is_forward", [True, False])
def test_one_direction_taken_from_another_fibre_is_said(twice: list[Losses], is_forward: bool) -> None:
    again = {side: own[2] for side, own in twice[1].items() if side[1] is is_forward}
    assert near(copied(twice[0], fibre=COPIED, read=again)) == [(3, COPIED)]


def test_what_is_said_names_how_near_how_unlikely_and_every_record(twice: list[Losses]) -> None:
    typed = {side: own[SOURCE - 1] + 2 for side, own in twice[0].items() if not side[1]}
    [found] = seen(traced(copied(twice[0], fibre=COPIED, read=typed)), SuspicionKind.NEARLY_SAME_READINGS)
    assert found.detail.startswith(
        "the readings B to A at 1310 nm of fibres 11 and 12 differ by 0.002 dB in the middle of "
    )
    assert ", those of neighbouring fibres by 0." in found.detail
    # Five comparisons of 24 fibres: two directions at two wavelengths, and all of them together.
    assert found.chance.startswith("at most 1e-")
    assert found.chance.endswith(
        f" for any of {5 * 24 * 23 // 2} pairs compared, by how far neighbouring fibres of this route differ"
    )
    assert set(found.records) == {f"{fibre}/{nm}/False" for fibre in (11, 12) for nm in (1310, 1550)}


def test_one_fibre_copied_to_several_is_one_suspicion(twice: list[Losses]) -> None:
    losses = twice[0]
    for number, fibre in enumerate((5, 6, 7)):
        typed = {side: edited(own[3], seed=side[0] + number, digits=2) for side, own in losses.items()}
        losses = copied(losses, fibre=fibre, read=typed)
    [found] = seen(traced(losses), SuspicionKind.NEARLY_SAME_READINGS)
    assert found.fibres == (4, 5, 6, 7)
    assert found.detail.endswith("; 2 more agree with them or with each other")


def test_every_second_fibre_copied_from_its_neighbour_is_said(twice: list[Losses]) -> None:
    losses = twice[0]
    for fibre in range(2, FIBRES + 1, 2):
        typed = {side: edited(own[fibre - 2], seed=side[0] + fibre, digits=2) for side, own in losses.items()}
        losses = copied(losses, fibre=fibre, read=typed)
    assert near(losses) == [(fibre - 1, fibre) for fibre in range(2, FIBRES + 1, 2)]


def test_a_route_that_is_one_fibre_over_and_over_is_said(twice: list[Losses]) -> None:
    losses = twice[0]
    for fibre in range(2, FIBRES + 1):
        typed = {side: edited(own[0], seed=side[0] + fibre, digits=2) for side, own in losses.items()}
        losses = copied(losses, fibre=fibre, read=typed)
    [found] = near(losses)
    assert set(found) <= set(range(1, FIBRES + 1))
    assert len(found) == 20


def test_one_fibre_tested_twice_or_kept_twice_is_no_suspicion(twice: list[Losses]) -> None:
    once, again = (traced(losses) for losses in twice)
    for fibre in (4, 5):
        repeated = [one._replace(record=f"{one.record}/again") for one in (once[fibre], again[fibre])[fibre % 2].traces]
        once[fibre] = once[fibre]._replace(traces=(*once[fibre].traces, *repeated))
    assert suspicions_of(once) == []


def test_what_is_the_same_to_the_last_digit_is_said_once(twice: list[Losses]) -> None:
    same = {side: own[SOURCE - 1] for side, own in twice[0].items()}
    found = suspicions_of(traced(copied(twice[0], fibre=COPIED, read=same)))
    assert {one.kind for one in found} == {SuspicionKind.SAME_READINGS}


@pytest.fixture(scope="module")
def powers() -> Losses:
    """Return an honest route's losses by source and meter."""
    return draw_powers(fibres=FIBRES, closures=CLOSURES, seed=1)


def repeated(powers: Losses, fibres: tuple[int, ...], *, ways: tuple[bool, ...] = (True, False)) -> list[Suspicion]:
    for fibre in fibres[1:]:
        same = {side: own[fibres[0] - 1] for side, own in powers.items() if side[1] in ways}
        powers = copied(powers, fibre=fibre, read=same)
    return seen(powered(powers), SuspicionKind.REPEATED_LINK_LOSSES)


def test_honest_losses_by_source_and_meter_are_not_repeated(powers: Losses) -> None:
    assert suspicions_of(powered(powers)) == []


def test_losses_repeated_from_one_fibre_to_the_next_are_said(powers: Losses) -> None:
    [found] = repeated(powers, (6, 7))
    assert found.fibres == (6, 7)
    assert found.detail == "fibres 6 and 7 have the same 4 losses by source and meter to the last digit"
    assert found.chance.endswith(" among 24 fibres, by how far neighbours on this route differ")
    assert len(found.records) == 8


def test_those_of_one_direction_are_said_where_several_have_them(powers: Losses) -> None:
    assert repeated(powers, (6, 7), ways=(True,)) == []
    [found] = repeated(powers, (6, 7, 8, 9), ways=(True,))
    assert found.detail == "fibres 6, 7, 8 and 9 have the same 2 losses by source and meter to the last digit"


def test_fibres_apart_are_said_too(powers: Losses) -> None:
    [found] = repeated(powers, (3, 9, 20))
    assert found.fibres == (3, 9, 20)


def test_a_figure_for_every_fibre_is_said(powers: Losses) -> None:
    [found] = repeated(powers, tuple(range(1, FIBRES + 1)))
    assert found.detail.startswith("24 fibres have the same 4 losses")


def test_a_wavelength_that_few_fibres_were_tested_at_hides_nothing(powers: Losses) -> None:
    same = {side: own[5] for side, own in powers.items()}
    contributions = powered(copied(powers, fibre=7, read=same))
    extra = LinkOutline("1/1625", True, 1625, 2000)
    contributions[1] = contributions[1]._replace(links=(*contributions[1].links, extra))
    [found] = seen(contributions, SuspicionKind.REPEATED_LINK_LOSSES)
    assert found.fibres == (6, 7)


def test_one_loss_that_many_share_is_usual(powers: Losses) -> None:
    # Hundredths of a dB over a scatter of a tenth: of 24 fibres some read the same.
    one_side = {(1310, True): powers[1310, True]}
    assert suspicions_of(powered(one_side)) == []
    assert len(set(one_side[1310, True].tolist())) < FIBRES


def test_no_more_than_so_many_of_a_kind_are_written(powers: Losses) -> None:
    many = draw_powers(fibres=96, closures=CLOSURES, seed=2)
    for fibre in range(2, 97, 2):
        many = copied(many, fibre=fibre, read={side: own[fibre - 2] for side, own in many.items()})
    found = seen(powered(many), SuspicionKind.REPEATED_LINK_LOSSES)
    assert len(found) == MOST_OF_A_KIND
    assert found[-1].detail.endswith("; and 28 more like these")
