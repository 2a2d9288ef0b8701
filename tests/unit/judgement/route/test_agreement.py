"""The chance that is said of two fibres that agree is never below the true one."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.simulator.draws import start
from worker.judgement.fibre.packed_losses import UNREAD
from worker.judgement.route.agreement import LEAST_FIBRES, Readings, close_rows, power_of_agreement, scatter_of
from worker.judgement.route.copies import LEAST_POWER

# A difference of two normal losses with a spread of 0.1 dB; its median, 0.6745 times that times the root of two.
SPREAD_MDB = 100
MEDIAN_MDB = 95


def power(apart_mdb: list[int], *, comparisons: int = 1, step_mdb: int = 1) -> int:
    medians_mdb = [MEDIAN_MDB] * len(apart_mdb)
    return power_of_agreement(apart_mdb=apart_mdb, medians_mdb=medians_mdb, step_mdb=step_mdb, comparisons=comparisons)


@pytest.mark.parametrize("joints", [1, 4, 12, 40])
@pytest.mark.parametrize("apart_mdb", [1, 5, 20])
def test_the_chance_of_independent_joints_is_never_said_too_small(joints: int, apart_mdb: int) -> None:
    # Computed with SciPy: the sum of squares of normal differences follows chi squared.
    of_two = stats.chi2.cdf(joints * (apart_mdb / SPREAD_MDB) ** 2 / 2, joints)
    assert min(1.0, 1000 * of_two) <= 10.0 ** -power([apart_mdb] * joints, comparisons=1000)


@pytest.mark.parametrize("joints", [2, 6, 20])
def test_nor_is_that_of_joints_that_share_the_glass_of_a_section(joints: int) -> None:
    # Computed: a normal density at 0 is one over the root of the determinant, here of correlations of -1/2 in a row.
    correlation = np.eye(joints) - np.eye(joints, k=1) / 2 - np.eye(joints, k=-1) / 2
    spread_mdb = SPREAD_MDB * math.sqrt(2)
    ball = math.pi ** (joints / 2) * (2 * math.sqrt(joints)) ** joints / math.gamma(joints / 2 + 1)
    at_zero = 1 / math.sqrt((2 * math.pi * spread_mdb**2) ** joints * np.linalg.det(correlation))
    assert ball * at_zero <= 10.0 ** -power([2] * joints)


def test_more_comparisons_make_it_likelier() -> None:
    assert power([2] * 6, comparisons=10_000) == power([2] * 6) - 4


def test_a_few_joints_put_right_do_not_hide_a_copy() -> None:
    same = [2] * 20
    assert power([*same, 300, 300]) > power(same) // 2 > 10


def test_two_that_are_apart_like_neighbours_are_nothing_out_of_the_way() -> None:
    assert power([MEDIAN_MDB] * 40) == 0


def test_a_hundredth_is_the_last_place_of_what_shows_hundredths() -> None:
    # Equal hundredths may be 0.005 dB apart to either side, thousandths that are 0.004 and 0.005 apart half more.
    by_hundredths = power([0] * 40, step_mdb=10)
    assert power([5] * 40) < by_hundredths < power([4] * 40)


def printed_sizes() -> list[tuple[int, int, float]]:
    """Return joints, fibres and how near two have to be, as `service/CRITERIA.md` has it."""
    chapter = (Path(__file__).parents[4] / "service/CRITERIA.md").read_text().split("## What is only suspected")[1]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in chapter.splitlines() if "|" in line]
    fibres = [int(name.split()[0]) for name in rows[0][1:]]
    return [(int(row[0]), of, float(size)) for row in rows[2:] for of, size in zip(fibres, row[1:], strict=True)]


@pytest.mark.parametrize(("joints", "fibres", "size"), printed_sizes())
def test_copies_are_said_up_to_the_printed_size_and_not_from_a_hundredth_above(
    joints: int, fibres: int, size: float
) -> None:
    # Two directions at two wavelengths, and all of them together.
    comparisons = 5 * fibres * (fibres - 1) // 2
    for times, is_said in ((size, True), (size + 0.01, False)):
        found = power_of_agreement(
            apart_mdb=[round(1000 * times)] * joints,
            medians_mdb=[1000] * joints,
            step_mdb=1,
            comparisons=comparisons,
        )
        assert (found >= LEAST_POWER) is is_said


def readings_of(values_mdb: np.ndarray) -> Readings:
    fibres = np.arange(1, len(values_mdb) + 1)
    return Readings(
        values_mdb=values_mdb, fibres=fibres, steps_mdb=np.ones(len(values_mdb), dtype=np.int64), noise_mdb=9
    )


def draw(fibres: int, *, joints: int = 12) -> np.ndarray:
    return start(1, 60).integers(-150, 150, (fibres, joints))


def test_neighbours_tell_the_scatter_of_each_joint() -> None:
    values_mdb = draw(200) * np.array([1, 10] * 6)
    wide, tall = scatter_of(values_mdb).median_mdb.reshape(-1, 2).T
    # Two even draws over 0.3 dB differ by less than 0.293 of that in half of all cases: 1 - 1/sqrt 2, computed.
    assert wide == pytest.approx([88] * 6, rel=0.25)
    assert tall == pytest.approx([880] * 6, rel=0.25)


def test_joints_that_hardly_a_fibre_shows_are_left_out() -> None:
    values_mdb = draw(20)
    values_mdb[4:, 3] = UNREAD
    scatter = scatter_of(values_mdb)
    assert scatter.is_known.tolist() == [True] * 3 + [False] + [True] * 8


@pytest.mark.parametrize(("fibres", "is_said"), [(LEAST_FIBRES - 1, False), (LEAST_FIBRES, True)])
def test_too_few_fibres_do_not_know_how_far_they_scatter(fibres: int, is_said: bool) -> None:
    values_mdb = draw(fibres)
    values_mdb[1] = values_mdb[0] + 1
    assert bool(list(close_rows(readings_of(values_mdb), comparisons=28))) is is_said


def test_one_fibre_tested_twice_is_not_compared_with_itself() -> None:
    values_mdb = draw(24)
    values_mdb[1] = values_mdb[0] + 1
    readings = readings_of(values_mdb)
    [found] = close_rows(readings, comparisons=276)
    assert found.rows == (0, 1)
    again = Readings(
        values_mdb=values_mdb, fibres=np.array([1, 1, *range(3, 25)]), steps_mdb=readings.steps_mdb, noise_mdb=9
    )
    assert list(close_rows(again, comparisons=276)) == []


def test_a_copy_is_found_whichever_fibre_it_is_of() -> None:
    values_mdb = draw(300, joints=20)
    values_mdb[299] = values_mdb[3] + 2
    [found] = close_rows(readings_of(values_mdb), comparisons=300 * 299 // 2)
    assert (found.rows, found.columns, found.apart_mdb) == ((3, 299), 20, 2)
