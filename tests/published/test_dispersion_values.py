"""Dispersion, pulse lengths and bends against check values from outside."""

import pytest

from tests.published.check_values import source_of
from tests.published.dispersion_values import (
    BENDS,
    DISPERSIONS,
    PULSES,
    SPREADS,
    BendCheck,
    DispersionCheck,
    PulseCheck,
    SpreadCheck,
)
from worker.physics.bend import bend_signature
from worker.physics.dispersion import dispersion_ps_per_nm_km, link_polarisation_mode_dispersion_ps
from worker.physics.fibre import distance_from_time_m


@pytest.mark.parametrize("check", DISPERSIONS, ids=source_of)
def test_dispersion_is_as_computed(check: DispersionCheck) -> None:
    dispersion = dispersion_ps_per_nm_km(
        wavelength_nm=check.wavelength_nm, zero_wavelength_nm=1310.0, zero_slope_ps_per_nm2_km=0.092
    )
    assert dispersion == pytest.approx(check.dispersion_ps_per_nm_km, abs=check.tolerance)


@pytest.mark.parametrize("check", SPREADS, ids=source_of)
def test_sections_add_their_spread_as_random_walks(check: SpreadCheck) -> None:
    spread_ps = link_polarisation_mode_dispersion_ps(
        section_lengths_km=check.section_lengths_km,
        coefficients_ps_per_sqrt_km=[check.coefficient_ps_per_sqrt_km] * len(check.section_lengths_km),
    )
    assert spread_ps == pytest.approx(check.spread_ps, abs=check.tolerance)


@pytest.mark.parametrize("check", PULSES, ids=source_of)
def test_a_pulse_is_as_long_in_fibre_as_computed(check: PulseCheck) -> None:
    length_m = distance_from_time_m(round_trip_us=check.pulse_ns / 1000, group_index=1.468)
    assert length_m == pytest.approx(check.length_m, abs=check.tolerance)


@pytest.mark.parametrize("check", BENDS, ids=source_of)
def test_a_bend_is_told_from_a_splice(check: BendCheck) -> None:
    seen = bend_signature(
        losses_db=[[loss_db] for loss_db in check.losses_db],
        wavelengths_nm=[1310, 1550, 1625],
        greatest_difference_db=0.2,
        greatest_ratio=1.5,
    )
    assert seen.looks_bent.tolist() == [check.looks_bent]
