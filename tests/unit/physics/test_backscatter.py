"""Backscatter and reflectance: against integrals and Fresnel, by properties, and for what they refuse."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from worker.physics.backscatter import (
    backscattered_share_per_m,
    section_backscatter_db,
)
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.reflectance import event_reflectance_db, flat_end_reflectance_db, reflected_share

LENGTHS_KM = st.floats(0.001, 200.0)
ATTENUATIONS_DB_PER_KM = st.floats(0.0, 5.0)
COEFFICIENTS_DB = st.floats(-90.0, -70.0)
INDICES = st.floats(1.3, 1.6)


def returned_by_integral_db(
    *, length_km: float, attenuation_db_per_km: float, coefficient_db: float, index: float, before_db: float
) -> float:
    """Return the backscatter of a length by integrating the round trip of each kilometre of it."""
    per_km = 1000 * 10 ** (coefficient_db / 10) / (299_792_458.0 * 1e-9 / (2 * index))
    returned, _ = quad(lambda x_km: 10 ** (-2 * attenuation_db_per_km * x_km / 10), 0, length_km, limit=500)
    return float(10 * np.log10(per_km * returned) - 2 * before_db)


@given(
    length_km=st.floats(0.001, 50.0),
    attenuation_db_per_km=ATTENUATIONS_DB_PER_KM,
    coefficient_db=COEFFICIENTS_DB,
    index=INDICES,
    before_db=st.floats(0.0, 40.0),
)
def test_a_length_sends_back_the_integral_of_its_round_trips(
    length_km: float, attenuation_db_per_km: float, coefficient_db: float, index: float, before_db: float
) -> None:
    returned_db = section_backscatter_db(
        length_km=length_km,
        attenuation_db_per_km=attenuation_db_per_km,
        backscatter_coefficient_db=coefficient_db,
        group_index=index,
        loss_before_db=before_db,
    )
    expected_db = returned_by_integral_db(
        length_km=length_km,
        attenuation_db_per_km=attenuation_db_per_km,
        coefficient_db=coefficient_db,
        index=index,
        before_db=before_db,
    )
    assert returned_db == pytest.approx(expected_db, abs=1e-6)


@given(length_km=LENGTHS_KM, attenuation=st.floats(0.01, 5.0), coefficient=COEFFICIENTS_DB)
def test_more_fibre_sends_back_more_but_never_more_than_endless_fibre(
    length_km: float, attenuation: float, coefficient: float
) -> None:
    glass = {"attenuation_db_per_km": attenuation, "backscatter_coefficient_db": coefficient, "group_index": 1.468}
    short_db, long_db = section_backscatter_db(length_km=[length_km, 2 * length_km], loss_before_db=0.0, **glass)
    assert short_db <= long_db + 1e-9
    # The integral of 10^(-2ax/10) over all x is 10 / (2a ln 10).
    share_per_m = backscattered_share_per_m(backscatter_coefficient_db=coefficient, group_index=1.468)
    endless = 1000 * float(share_per_m) * 10 / (2 * attenuation * np.log(10))
    assert long_db <= 10 * np.log10(endless) + 1e-9


def test_fibre_that_hardly_attenuates_sends_back_as_fibre_that_does_not() -> None:
    glass = {"backscatter_coefficient_db": -80.0, "group_index": 1.468, "loss_before_db": 0.0, "length_km": 1.0}
    lossless_db, nearly_db = section_backscatter_db(attenuation_db_per_km=[0.0, 1e-12], **glass)
    assert lossless_db == pytest.approx(nearly_db, abs=1e-9)
    assert lossless_db == pytest.approx(
        10 * np.log10(1000 * float(backscattered_share_per_m(backscatter_coefficient_db=-80.0, group_index=1.468)))
    )


@given(coefficient_db=COEFFICIENTS_DB, pulse_ns=st.floats(1.0, 20_000.0))
def test_ten_times_the_pulse_scatters_ten_decibels_more(coefficient_db: float, pulse_ns: float) -> None:
    once, tenfold = event_reflectance_db(
        height_db=20.0, backscatter_coefficient_db=coefficient_db, pulse_ns=[pulse_ns, 10 * pulse_ns]
    )
    assert tenfold - once == pytest.approx(10, abs=1e-9)


@given(height_db=st.floats(0.01, 40.0), coefficient_db=COEFFICIENTS_DB, pulse_ns=st.floats(1.0, 1000.0))
def test_a_reflectance_stands_as_high_over_the_backscatter_as_it_was_read_from(
    height_db: float, coefficient_db: float, pulse_ns: float
) -> None:
    reflectance_db = event_reflectance_db(
        height_db=height_db, backscatter_coefficient_db=coefficient_db, pulse_ns=pulse_ns
    )
    # What a trace shows: half the decibels by which reflection and backscatter together exceed the backscatter.
    backscatter = 10 ** (coefficient_db / 10) * pulse_ns
    shown_db = 5 * np.log10((backscatter + 10 ** (float(reflectance_db) / 10)) / backscatter)
    assert shown_db == pytest.approx(height_db, abs=1e-6)


def test_the_highest_peak_does_not_overflow() -> None:
    reflectance_db = event_reflectance_db(height_db=5000.0, backscatter_coefficient_db=-80.0, pulse_ns=1.0)
    assert reflectance_db == pytest.approx(9920.0)


@given(index=st.floats(1.01, 3.0))
def test_a_flat_end_reflects_what_does_not_pass(index: float) -> None:
    # Fresnel at normal incidence: 4n / (n + 1)^2 of the light passes; from memory.
    share = reflected_share(reflectance_db=flat_end_reflectance_db(refractive_index=index))
    assert share == pytest.approx(1 - 4 * index / (index + 1) ** 2, abs=1e-12)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (backscattered_share_per_m, {"backscatter_coefficient_db": -80.0, "group_index": 1.468}),
        (
            section_backscatter_db,
            {
                "length_km": 1.0,
                "attenuation_db_per_km": 0.3,
                "backscatter_coefficient_db": -80.0,
                "group_index": 1.468,
                "loss_before_db": 0.0,
            },
        ),
        (event_reflectance_db, {"height_db": 20.0, "backscatter_coefficient_db": -80.0, "pulse_ns": 10.0}),
        (flat_end_reflectance_db, {"refractive_index": 1.45}),
        (reflected_share, {"reflectance_db": -40.0}),
    ],
)
def test_unpaired_and_non_finite_arguments_are_refused(
    function: Callable[..., Any], arguments: dict[str, float]
) -> None:
    assert np.isfinite(function(**arguments))
    for bad in arguments:
        with pytest.raises(NonFiniteReadingError):
            function(**{**arguments, bad: np.nan})
    first, *others = arguments
    for other in others:
        with pytest.raises(UnpairedReadingsError):
            function(**{**arguments, first: [arguments[first]] * 2, other: [arguments[other]] * 3})


SECTION = {"attenuation_db_per_km": 0.3, "backscatter_coefficient_db": -80.0, "group_index": 1.468}


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (event_reflectance_db, {"height_db": 20.0, "backscatter_coefficient_db": -80.0, "pulse_ns": 0.0}),
        (backscattered_share_per_m, {"backscatter_coefficient_db": 0.0, "group_index": 1.468}),
        (backscattered_share_per_m, {"backscatter_coefficient_db": -80.0, "group_index": 0.999}),
        (section_backscatter_db, {**SECTION, "length_km": 0.0, "loss_before_db": 0.0}),
        (section_backscatter_db, {**SECTION, "length_km": 1.0, "loss_before_db": 0.0, "attenuation_db_per_km": -0.1}),
        (section_backscatter_db, {**SECTION, "length_km": 1.0, "loss_before_db": 0.0, "group_index": 0.999}),
        (event_reflectance_db, {"height_db": 0.0, "backscatter_coefficient_db": -80.0, "pulse_ns": 10.0}),
        (flat_end_reflectance_db, {"refractive_index": 1.0}),
        (reflected_share, {"reflectance_db": 0.001}),
    ],
)
def test_what_lies_outside_the_formulas_range_is_refused(
    function: Callable[..., Any], arguments: dict[str, float]
) -> None:
    with pytest.raises(OutOfRangeError):
        function(**arguments)
