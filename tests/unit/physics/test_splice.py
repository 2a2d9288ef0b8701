"""Least loss of a splice: against the overlap of its fields, at the ends of its range, and for what it refuses."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference.overlap import overlap_loss_db
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError
from worker.physics.splice import least_splice_loss_db

RADII_UM = st.floats(min_value=2.0, max_value=8.0)


def mismatch_db(first_um: float, second_um: float) -> float:
    """Return the mismatch loss of two mode-field diameters, by the offset that they make."""
    # Captured light goes as one over the square of the mode field: common practice, no source.
    return float(least_splice_loss_db(offset_db=10 * np.log10(second_um / first_um)))


@given(first_um=RADII_UM, second_um=RADII_UM)
def test_mismatch_loss_is_the_overlap_of_the_two_fields_from_either_side(first_um: float, second_um: float) -> None:
    there = mismatch_db(first_um, second_um)
    assert there == pytest.approx(overlap_loss_db(radius_a_um=first_um, radius_b_um=second_um), abs=1e-6)
    assert there == pytest.approx(mismatch_db(second_um, first_um), abs=1e-12)
    assert there >= -1e-12


@given(offset_db=st.floats(min_value=0.0, max_value=99.0))
def test_a_greater_offset_costs_more(offset_db: float) -> None:
    nearer, farther = least_splice_loss_db(offset_db=[offset_db, offset_db + 1])
    assert farther > nearer >= 0


def test_equal_fields_lose_nothing_as_one_splice_or_as_many() -> None:
    assert least_splice_loss_db(offset_db=0.0) == 0
    assert least_splice_loss_db(offset_db=[0.0, 0.0]).tolist() == [0, 0]


def test_the_greatest_offset_is_answered_and_the_next_is_refused() -> None:
    # Fields ten thousand millions apart: half of that is lost twice over, 20 log10.
    assert least_splice_loss_db(offset_db=100.0) == pytest.approx(200 - 20 * np.log10(2))
    for beyond_db in (100.001, -100.001):
        with pytest.raises(OutOfRangeError):
            least_splice_loss_db(offset_db=beyond_db)
    with pytest.raises(NonFiniteReadingError):
        least_splice_loss_db(offset_db=np.nan)
