"""Splice loss: against a numerical overlap of the fields, at the ends of its range, and for what it refuses."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.splice import (
    mean_bidirectional_loss_db,
    mode_field_mismatch_loss_db,
    offset_loss_db,
    one_way_offset_db,
)
from worker.physics.tilt import tilt_loss_db

RADII_UM = st.floats(min_value=2.0, max_value=8.0)


def overlap_loss_db(*, first_um: float, second_um: float, offset_um: float = 0.0, tilt_rad: float = 0.0) -> float:
    """Return the loss of two Gaussian fields by integrating their overlap; 1.31 um light in glass of index 1.447.

    The fields are products of one Gaussian across and one along the offset, and so is their overlap.
    """
    wave_number = 2 * np.pi * 1.447 / 1.31

    def field(x_um: float, *, width_um: float, centre_um: float = 0.0) -> float:
        return float((2 / (np.pi * width_um**2)) ** 0.25 * np.exp(-(((x_um - centre_um) / width_um) ** 2)))

    def along(x_um: float) -> float:
        return field(x_um, width_um=first_um) * field(x_um, width_um=second_um, centre_um=offset_um)

    def turned(x_um: float) -> float:
        return along(x_um) * float(np.cos(wave_number * np.sin(tilt_rad) * x_um))

    across, _ = quad(lambda x_um: field(x_um, width_um=first_um) * field(x_um, width_um=second_um), -60, 60)
    # The sine part of the tilted overlap vanishes only without an offset; the two are checked one at a time.
    beside, _ = quad(turned, -60, 60, limit=200)
    return float(-20 * np.log10(abs(across * beside)))


@given(first_um=RADII_UM, second_um=RADII_UM)
def test_mismatch_loss_is_the_overlap_of_the_two_fields(first_um: float, second_um: float) -> None:
    [loss_db] = mode_field_mismatch_loss_db(
        mode_field_diameter_a_um=[2 * first_um], mode_field_diameter_b_um=[2 * second_um]
    )
    assert loss_db == pytest.approx(overlap_loss_db(first_um=first_um, second_um=second_um), abs=1e-6)


@given(radius_um=RADII_UM, offset_um=st.floats(min_value=0.0, max_value=3.0))
def test_offset_loss_is_the_overlap_of_the_two_fields(radius_um: float, offset_um: float) -> None:
    [loss_db] = offset_loss_db(offset_um=[offset_um], mode_field_radius_um=[radius_um])
    expected_db = overlap_loss_db(first_um=radius_um, second_um=radius_um, offset_um=offset_um)
    assert loss_db == pytest.approx(expected_db, abs=1e-6)


@pytest.mark.parametrize("tilt_deg", [0.0, 0.2, 0.5, 1.0])
def test_tilt_loss_is_the_overlap_of_the_two_fields(tilt_deg: float) -> None:
    [loss_db] = tilt_loss_db(tilt_deg=[tilt_deg], refractive_index=1.447, mode_field_radius_um=4.6, wavelength_um=1.31)
    expected_db = overlap_loss_db(first_um=4.6, second_um=4.6, tilt_rad=float(np.deg2rad(tilt_deg)))
    # The formula takes the angle for its sine.
    assert loss_db == pytest.approx(expected_db, abs=1e-4)


@given(first_um=RADII_UM, second_um=RADII_UM)
def test_mismatch_loss_is_the_same_in_both_directions_and_never_a_gain(first_um: float, second_um: float) -> None:
    there = mode_field_mismatch_loss_db(mode_field_diameter_a_um=first_um, mode_field_diameter_b_um=second_um)
    back = mode_field_mismatch_loss_db(mode_field_diameter_a_um=second_um, mode_field_diameter_b_um=first_um)
    assert there == pytest.approx(float(back), abs=1e-12)
    assert there >= -1e-12


@given(first_db=st.floats(-5, 5), second_db=st.floats(-5, 5))
def test_mean_and_offset_together_give_both_readings_back(first_db: float, second_db: float) -> None:
    both = {"loss_a_to_b_db": [first_db], "loss_b_to_a_db": [second_db]}
    [mean_db], [offset_db] = mean_bidirectional_loss_db(**both), one_way_offset_db(**both)
    assert (mean_db + offset_db, mean_db - offset_db) == pytest.approx((first_db, second_db), abs=1e-12)


def test_scalars_and_arrays_give_the_same() -> None:
    scalar = mean_bidirectional_loss_db(loss_a_to_b_db=0.2, loss_b_to_a_db=0.1)
    array = mean_bidirectional_loss_db(loss_a_to_b_db=[0.2, 0.4], loss_b_to_a_db=[0.1, 0.0])
    assert scalar.shape == ()
    assert array == pytest.approx([float(scalar), 0.2])


def test_no_offset_and_equal_fields_lose_nothing() -> None:
    assert offset_loss_db(offset_um=0.0, mode_field_radius_um=4.6) == 0
    assert mode_field_mismatch_loss_db(mode_field_diameter_a_um=9.2, mode_field_diameter_b_um=9.2) == 0


@pytest.mark.parametrize(
    ("function", "names"),
    [
        (mean_bidirectional_loss_db, ("loss_a_to_b_db", "loss_b_to_a_db")),
        (one_way_offset_db, ("loss_a_to_b_db", "loss_b_to_a_db")),
        (mode_field_mismatch_loss_db, ("mode_field_diameter_a_um", "mode_field_diameter_b_um")),
        (offset_loss_db, ("offset_um", "mode_field_radius_um")),
    ],
)
def test_unpaired_and_non_finite_arguments_are_refused(function: Callable[..., Any], names: tuple[str, str]) -> None:
    first, second = names
    with pytest.raises(UnpairedReadingsError):
        function(**{first: [1.0, 2.0], second: [1.0]})
    for bad in (np.nan, np.inf):
        with pytest.raises(NonFiniteReadingError):
            function(**{first: [bad], second: [1.0]})


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (mode_field_mismatch_loss_db, {"mode_field_diameter_a_um": 0.0, "mode_field_diameter_b_um": 9.2}),
        (mode_field_mismatch_loss_db, {"mode_field_diameter_a_um": 9.2, "mode_field_diameter_b_um": -1.0}),
        (offset_loss_db, {"offset_um": -0.1, "mode_field_radius_um": 4.6}),
        (offset_loss_db, {"offset_um": 0.1, "mode_field_radius_um": 0.0}),
        (tilt_loss_db, {"tilt_deg": -1, "refractive_index": 1.4, "mode_field_radius_um": 4.6, "wavelength_um": 1.3}),
        (tilt_loss_db, {"tilt_deg": 1, "refractive_index": 0.9, "mode_field_radius_um": 4.6, "wavelength_um": 1.3}),
    ],
)
def test_what_lies_outside_the_formulas_range_is_refused(
    function: Callable[..., Any], arguments: dict[str, float]
) -> None:
    with pytest.raises(OutOfRangeError):
        function(**arguments)


def test_a_tilt_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(NonFiniteReadingError):
        tilt_loss_db(tilt_deg=np.nan, refractive_index=1.447, mode_field_radius_um=4.6, wavelength_um=1.31)
