"""What tells a bend: its settings and both sides of them, by properties, and for what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.physics.bend import BendSignature, bend_signature
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

LOSSES_DB = st.floats(-1.0, 5.0)


def seen_at(*rows_db: list[float]) -> BendSignature:
    """Return the signature of joints read at 1310, 1550 and 1625 nm, as many as there are rows."""
    return bend_signature(
        losses_db=list(rows_db),
        wavelengths_nm=[1310, 1550, 1625][: len(rows_db)],
        greatest_difference_db=0.2,
        greatest_ratio=1.5,
    )


def test_a_joint_on_a_setting_is_no_bend_and_one_step_above_is() -> None:
    # 0.05 and 0.25 are 0.2 apart only on paper: as floats a bit more or less.
    assert seen_at([0.05, 0.05], [0.25, 0.251]).looks_bent.tolist() == [False, True]
    assert seen_at([0.60, 0.60], [0.90, 0.901]).looks_bent.tolist() == [False, True]


def test_both_settings_must_be_passed() -> None:
    # 0.3 dB more of 1 dB is no bend; four times 0.04 dB is none either.
    assert seen_at([1.0, 0.04], [1.3, 0.16]).looks_bent.tolist() == [False, False]


def test_an_apparent_gain_at_the_shortest_wavelength_needs_no_ratio() -> None:
    assert seen_at([-0.05, 0.0], [0.16, 0.21]).looks_bent.tolist() == [True, True]


def test_the_longest_wavelength_alone_can_show_it() -> None:
    seen = seen_at([0.05], [0.06], [0.60])
    assert seen.looks_bent.tolist() == [True]
    assert seen.longer_wavelengths_nm.tolist() == [1550, 1625]
    assert seen.differences_db == pytest.approx(np.array([[0.01], [0.55]]))


@given(short_db=LOSSES_DB, middle_db=LOSSES_DB, long_db=LOSSES_DB, order=st.permutations([0, 1, 2]))
def test_the_order_of_the_wavelengths_changes_nothing(
    short_db: float, middle_db: float, long_db: float, order: list[int]
) -> None:
    rows, wavelengths = np.array([[short_db], [middle_db], [long_db]]), np.array([1310, 1550, 1625])
    mixed = bend_signature(
        losses_db=rows[order], wavelengths_nm=wavelengths[order], greatest_difference_db=0.2, greatest_ratio=1.5
    )
    straight = seen_at([short_db], [middle_db], [long_db])
    assert mixed.looks_bent.tolist() == straight.looks_bent.tolist()
    assert mixed.differences_db.tolist() == straight.differences_db.tolist()


@given(short_db=LOSSES_DB, long_db=LOSSES_DB, more_db=st.floats(0, 5))
def test_what_looks_bent_looks_bent_with_more_loss_at_the_longer_wavelength(
    short_db: float, long_db: float, more_db: float
) -> None:
    fewer, more = seen_at([short_db, short_db], [long_db, long_db + more_db]).looks_bent
    assert more or not fewer


@given(loss_db=LOSSES_DB)
def test_a_joint_that_reads_the_same_everywhere_is_no_bend(loss_db: float) -> None:
    assert not seen_at([loss_db], [loss_db], [loss_db]).looks_bent.any()


@pytest.mark.parametrize(
    ("wavelengths_nm", "difference_db", "ratio"),
    [([1310, 1310], 0.2, 1.5), ([0, 1550], 0.2, 1.5), ([1310, 1550], -0.1, 1.5), ([1310, 1550], 0.2, 0.9)],
)
def test_settings_and_wavelengths_out_of_range_are_refused(
    wavelengths_nm: list[float], difference_db: float, ratio: float
) -> None:
    with pytest.raises(OutOfRangeError):
        bend_signature(
            losses_db=[[0.1], [0.1]],
            wavelengths_nm=wavelengths_nm,
            greatest_difference_db=difference_db,
            greatest_ratio=ratio,
        )


def test_one_wavelength_alone_cannot_clear_a_bend() -> None:
    with pytest.raises(OutOfRangeError):
        seen_at([0.05])


def test_unpaired_and_non_finite_losses_are_refused() -> None:
    with pytest.raises(UnpairedReadingsError):
        bend_signature(losses_db=[[0.1]], wavelengths_nm=[1310, 1550], greatest_difference_db=0.2, greatest_ratio=1.5)
    with pytest.raises(UnpairedReadingsError):
        bend_signature(losses_db=0.1, wavelengths_nm=[1310], greatest_difference_db=0.2, greatest_ratio=1.5)
    with pytest.raises(NonFiniteReadingError):
        seen_at([0.05], [float("nan")])
