"""What one direction shows too much: against overlaps, by properties, at the ends of its range."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.one_way import (
    implied_mode_field_ratio,
    least_splice_loss_db,
    offset_from_backscatter_db,
    offset_from_mode_fields_db,
)
from worker.physics.splice import mismatch_and_offset_loss_db, mode_field_mismatch_loss_db, offset_loss_db

RADII_UM = st.floats(min_value=2.0, max_value=8.0)
OFFSETS_DB = st.floats(min_value=-5.0, max_value=5.0)


def overlap_loss_db(*, first_um: float, second_um: float, apart_um: float) -> float:
    """Return the loss of two Gaussian fields beside each other by integrating their overlap.

    Both fields are integrated too, so that no norm is taken from a formula.
    """

    def across(x_um: float) -> float:
        return float(np.exp(-((x_um / first_um) ** 2) - (x_um / second_um) ** 2))

    def along(x_um: float) -> float:
        return float(np.exp(-((x_um / first_um) ** 2) - ((x_um - apart_um) / second_um) ** 2))

    overlap = quad(across, -60, 60)[0] * quad(along, -60, 60)[0]
    norms = [quad(lambda x_um, w=w: float(np.exp(-2 * (x_um / w) ** 2)), -60, 60)[0] for w in (first_um, second_um)]
    return float(-10 * np.log10(overlap**2 / (norms[0] * norms[1]) ** 2))


@given(first_um=RADII_UM, second_um=RADII_UM, apart_um=st.floats(min_value=0.0, max_value=3.0))
def test_mismatch_and_offset_together_are_the_overlap_of_the_fields(
    first_um: float, second_um: float, apart_um: float
) -> None:
    loss_db = mismatch_and_offset_loss_db(
        mode_field_radius_a_um=first_um, mode_field_radius_b_um=second_um, offset_um=apart_um
    )
    assert loss_db == pytest.approx(
        overlap_loss_db(first_um=first_um, second_um=second_um, apart_um=apart_um), abs=1e-6
    )


@given(first_um=RADII_UM, second_um=RADII_UM, apart_um=st.floats(min_value=0.0, max_value=3.0))
def test_both_effects_are_the_same_from_both_sides_and_reduce_to_each_alone(
    first_um: float, second_um: float, apart_um: float
) -> None:
    def both_db(one_um: float, other_um: float, offset_um: float) -> float:
        return float(
            mismatch_and_offset_loss_db(
                mode_field_radius_a_um=one_um, mode_field_radius_b_um=other_um, offset_um=offset_um
            )
        )

    mismatch_db = mode_field_mismatch_loss_db(mode_field_diameter_a_um=first_um, mode_field_diameter_b_um=second_um)
    alone_db = offset_loss_db(offset_um=apart_um, mode_field_radius_um=first_um)
    assert both_db(first_um, second_um, apart_um) == pytest.approx(both_db(second_um, first_um, apart_um), abs=1e-12)
    assert both_db(first_um, second_um, 0.0) == pytest.approx(float(mismatch_db), abs=1e-12)
    assert both_db(first_um, first_um, apart_um) == pytest.approx(float(alone_db), abs=1e-12)
    assert both_db(first_um, second_um, apart_um + 0.1) > both_db(first_um, second_um, apart_um)


@given(first_um=RADII_UM, second_um=RADII_UM)
def test_an_offset_from_mode_fields_alone_implies_their_ratio_and_their_mismatch(
    first_um: float, second_um: float
) -> None:
    diameters = {"mode_field_diameter_a_um": 2 * first_um, "mode_field_diameter_b_um": 2 * second_um}
    offset_db = offset_from_mode_fields_db(**diameters)
    assert implied_mode_field_ratio(offset_db=offset_db) == pytest.approx(second_um / first_um, rel=1e-12)
    assert least_splice_loss_db(offset_db=offset_db) == pytest.approx(
        float(mode_field_mismatch_loss_db(**diameters)), abs=1e-12
    )


@given(first_um=RADII_UM, second_um=RADII_UM, scatter_db=st.floats(-85, -75))
def test_backscatter_that_differs_by_the_captured_share_gives_the_same_offset(
    first_um: float, second_um: float, scatter_db: float
) -> None:
    # Captured light goes as one over the square of the mode field: common practice, no source.
    by_coefficient_db = offset_from_backscatter_db(
        backscatter_coefficient_a_db=scatter_db - 20 * np.log10(first_um),
        backscatter_coefficient_b_db=scatter_db - 20 * np.log10(second_um),
    )
    by_field_db = offset_from_mode_fields_db(mode_field_diameter_a_um=first_um, mode_field_diameter_b_um=second_um)
    assert by_coefficient_db == pytest.approx(float(by_field_db), abs=1e-9)


@given(offset_db=OFFSETS_DB)
def test_the_least_loss_is_the_same_from_both_sides_and_never_a_gain(offset_db: float) -> None:
    there, back = (float(least_splice_loss_db(offset_db=seen)) for seen in (offset_db, -offset_db))
    assert there == pytest.approx(back, abs=1e-12)
    assert there >= -1e-12
    both_ratios = implied_mode_field_ratio(offset_db=[offset_db, -offset_db])
    assert both_ratios.prod() == pytest.approx(1, rel=1e-12)


@given(offset_db=st.floats(min_value=0.0, max_value=99.0))
def test_a_greater_offset_costs_more(offset_db: float) -> None:
    nearer, farther = least_splice_loss_db(offset_db=[offset_db, offset_db + 1])
    assert farther > nearer


def test_the_greatest_offset_is_answered_and_the_next_is_refused() -> None:
    assert implied_mode_field_ratio(offset_db=100.0) == pytest.approx(1e10)
    for function in (implied_mode_field_ratio, least_splice_loss_db):
        for beyond_db in (100.001, -100.001):
            with pytest.raises(OutOfRangeError):
                function(offset_db=beyond_db)
        with pytest.raises(NonFiniteReadingError):
            function(offset_db=np.nan)


@pytest.mark.parametrize(
    ("function", "names"),
    [
        (offset_from_backscatter_db, ("backscatter_coefficient_a_db", "backscatter_coefficient_b_db")),
        (offset_from_mode_fields_db, ("mode_field_diameter_a_um", "mode_field_diameter_b_um")),
        (mismatch_and_offset_loss_db, ("mode_field_radius_a_um", "mode_field_radius_b_um", "offset_um")),
    ],
)
def test_unpaired_and_non_finite_arguments_are_refused(function: Callable[..., Any], names: tuple[str, ...]) -> None:
    with pytest.raises(UnpairedReadingsError):
        function(**{name: [1.0] * (2 + place) for place, name in enumerate(names)})
    for bad in names:
        with pytest.raises(NonFiniteReadingError):
            function(**{name: np.inf if name == bad else 1.0 for name in names})


@pytest.mark.parametrize(("first_um", "second_um", "apart_um"), [(0.0, 4.6, 0.1), (4.6, -1.0, 0.1), (4.6, 4.6, -0.1)])
def test_an_impossible_radius_or_offset_is_refused(first_um: float, second_um: float, apart_um: float) -> None:
    with pytest.raises(OutOfRangeError):
        mismatch_and_offset_loss_db(
            mode_field_radius_a_um=first_um, mode_field_radius_b_um=second_um, offset_um=apart_um
        )


@pytest.mark.parametrize("diameters_um", [(0.0, 9.2), (9.2, 0.0)])
def test_a_mode_field_of_no_width_is_refused(diameters_um: tuple[float, float]) -> None:
    with pytest.raises(OutOfRangeError):
        offset_from_mode_fields_db(mode_field_diameter_a_um=diameters_um[0], mode_field_diameter_b_um=diameters_um[1])
