"""Dispersion, lengths of pulses and bends against check values from outside."""

import pytest

from service.vocabulary.criteria.criteria import Placing
from tests.factories import bend_criterion, make_dispersion, only, sealed
from tests.published.check_values import DISTANCES, DistanceCheck, source_of
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
from tests.reference.dispersion import dispersion_ps_per_nm_km, link_polarization_mode_dispersion_ps
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.traces.alignment import dead_zone_of
from worker.physics.backscatter import backscattered_share_per_m


@pytest.mark.parametrize("check", DISPERSIONS, ids=source_of)
def test_dispersion_is_as_computed(check: DispersionCheck) -> None:
    dispersion = dispersion_ps_per_nm_km(
        wavelength_nm=check.wavelength_nm, zero_wavelength_nm=1310.0, zero_slope_ps_per_nm2_km=0.092
    )
    assert dispersion == pytest.approx(check.dispersion_ps_per_nm_km, abs=check.tolerance)


@pytest.mark.parametrize("check", SPREADS, ids=source_of)
def test_a_link_that_spreads_by_what_its_sections_add_up_to_keeps_that_limit(check: SpreadCheck) -> None:
    spread_ps = link_polarization_mode_dispersion_ps(
        section_lengths_km=check.section_lengths_km,
        coefficients_ps_per_sqrt_km=[check.coefficient_ps_per_sqrt_km] * len(check.section_lengths_km),
    )
    assert spread_ps == pytest.approx(check.spread_ps, abs=check.tolerance)
    limit = {"code": "PMD", "quantity": "polarization_mode_dispersion", "limit_ps": check.spread_ps}
    for over_ps, outcome in ((0.0, "conforming"), (0.001, "nonconforming")):
        record = make_dispersion(pmd_ps=round(spread_ps + over_ps, 3))
        judged = judge([*sealed(), record], criteria=only({**limit, "wavelength_nm": 1550}))
        assert finding_of(judged, "PMD")["outcome"] == outcome


@pytest.mark.parametrize("check", PULSES, ids=source_of)
def test_the_judge_takes_a_pulse_to_be_as_long_in_fibre_as_computed(check: PulseCheck) -> None:
    length_m = dead_zone_of(round(check.pulse_ns), Placing(parted_pulses=1.0)).beside_splice_um / 1e6
    assert length_m == pytest.approx(check.length_m, abs=check.tolerance)


@pytest.mark.parametrize("check", DISTANCES, ids=source_of)
def test_light_comes_back_from_as_far_as_computed(check: DistanceCheck) -> None:
    # A coefficient is stated for what comes back at once from a pulse of 1 ns; a metre's share of it tells how long
    # that is.
    share_per_m = float(backscattered_share_per_m(backscatter_coefficient_db=-80.0, group_index=check.group_index))
    distance_m = 10**-8 / share_per_m * check.round_trip_us * 1000
    assert distance_m == pytest.approx(check.distance_m, abs=check.tolerance)


@pytest.mark.parametrize("check", BENDS, ids=source_of)
def test_the_judge_tells_a_bend_from_a_splice(check: BendCheck) -> None:
    short_db, *longer_db = check.losses_db
    bodies = traces(short_db, short_db, wavelength_nm=1310)
    outcomes = set()
    for nm, long_db in zip((1550, 1625), longer_db, strict=True):
        criterion = bend_criterion(long_wavelength_nm=nm, limit_db=0.2, ratio=1.5)
        judged = judge([*bodies, *traces(long_db, long_db, wavelength_nm=nm)], criteria=only(criterion))
        outcomes.add(finding_of(judged, "BEND", site="C1")["outcome"])
    assert ("nonconforming" in outcomes) is check.looks_bent
    assert outcomes <= {"conforming", "nonconforming"}
