"""Dispersion: against the derivative of the group delay, by properties, and for what it refuses."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.physics.dispersion import (
    dispersion_ps_per_nm_km,
    link_dispersion_ps_per_nm,
    link_polarisation_mode_dispersion_ps,
)
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

LENGTHS_KM = st.floats(0.0, 200.0)
ZEROS_NM = st.floats(1300.0, 1324.0)
SLOPES = st.floats(0.073, 0.092)


@given(wavelength_nm=st.floats(1260.0, 1625.0), zero_nm=ZEROS_NM, slope=SLOPES)
def test_dispersion_is_how_group_delay_grows_with_the_wavelength(
    wavelength_nm: float, zero_nm: float, slope: float
) -> None:
    def delay_ps_per_km(at_nm: float) -> float:
        # The three-term form that the coefficient belongs to: ITU-T G.650.1, from memory.
        return slope / 8 * (at_nm - zero_nm**2 / at_nm) ** 2

    step_nm = 0.01
    grown = (delay_ps_per_km(wavelength_nm + step_nm) - delay_ps_per_km(wavelength_nm - step_nm)) / (2 * step_nm)
    dispersion = dispersion_ps_per_nm_km(
        wavelength_nm=wavelength_nm, zero_wavelength_nm=zero_nm, zero_slope_ps_per_nm2_km=slope
    )
    assert dispersion == pytest.approx(grown, abs=1e-5)


@given(zero_nm=ZEROS_NM, slope=SLOPES)
def test_dispersion_is_negative_below_its_zero_none_at_it_and_positive_above(zero_nm: float, slope: float) -> None:
    below, none, above = dispersion_ps_per_nm_km(
        wavelength_nm=[zero_nm - 1, zero_nm, zero_nm + 1], zero_wavelength_nm=zero_nm, zero_slope_ps_per_nm2_km=slope
    )
    assert below < 0 < above
    assert none == pytest.approx(0, abs=1e-12)
    # Near its zero the dispersion grows by the slope for each nanometre.
    assert above - below == pytest.approx(2 * slope, rel=1e-3)


LINKS: list[tuple[Callable[..., Any], tuple[str, str]]] = [
    (link_dispersion_ps_per_nm, ("section_lengths_km", "dispersions_ps_per_nm_km")),
    (link_polarisation_mode_dispersion_ps, ("section_lengths_km", "coefficients_ps_per_sqrt_km")),
]


@pytest.mark.parametrize(("function", "names"), LINKS)
@given(near_km=LENGTHS_KM, far_km=LENGTHS_KM, coefficient=st.floats(0.0, 20.0))
def test_a_section_cut_in_two_spreads_the_same(
    function: Callable[..., Any], names: tuple[str, str], near_km: float, far_km: float, coefficient: float
) -> None:
    lengths, coefficients = names
    whole = function(**{lengths: [near_km + far_km], coefficients: [coefficient]})
    parts = function(**{lengths: [near_km, far_km], coefficients: [coefficient, coefficient]})
    assert float(whole) == pytest.approx(float(parts), rel=1e-12, abs=1e-12)


@given(length_km=LENGTHS_KM, coefficient=st.floats(0.0, 1.0))
def test_four_times_the_length_is_twice_the_polarisation_spread(length_km: float, coefficient: float) -> None:
    once, fourfold = link_polarisation_mode_dispersion_ps(
        section_lengths_km=[[length_km, 4 * length_km]], coefficients_ps_per_sqrt_km=[[coefficient, coefficient]]
    )
    assert fourfold == pytest.approx(2 * once, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(("function", "names"), LINKS)
def test_links_refuse_what_is_unpaired_not_finite_or_below_zero(
    function: Callable[..., Any], names: tuple[str, str]
) -> None:
    lengths, coefficients = names
    assert function(**{lengths: [], coefficients: []}) == 0
    for unpaired in ([1.0, 2.0], 1.0):
        with pytest.raises(UnpairedReadingsError):
            function(**{lengths: unpaired, coefficients: [1.0]})
    with pytest.raises(NonFiniteReadingError):
        function(**{lengths: [1.0], coefficients: [np.inf]})
    with pytest.raises(OutOfRangeError):
        function(**{lengths: [-0.001], coefficients: [1.0]})


def test_a_coefficient_of_polarisation_is_never_below_zero() -> None:
    with pytest.raises(OutOfRangeError):
        link_polarisation_mode_dispersion_ps(section_lengths_km=[1.0], coefficients_ps_per_sqrt_km=[-0.1])


@pytest.mark.parametrize(
    ("wavelength_nm", "zero_nm", "slope", "error"),
    [
        (0.0, 1310.0, 0.09, OutOfRangeError),
        (1550.0, 0.0, 0.09, OutOfRangeError),
        (1550.0, 1310.0, -0.01, OutOfRangeError),
        (np.nan, 1310.0, 0.09, NonFiniteReadingError),
        ([1310.0, 1550.0], [1310.0], 0.09, UnpairedReadingsError),
    ],
)
def test_a_coefficient_refuses_what_it_does_not_hold_for(
    wavelength_nm: Any, zero_nm: Any, slope: float, error: type[Exception]
) -> None:
    with pytest.raises(error):
        dispersion_ps_per_nm_km(wavelength_nm=wavelength_nm, zero_wavelength_nm=zero_nm, zero_slope_ps_per_nm2_km=slope)
