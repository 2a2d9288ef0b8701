"""Families of routes: each as rough as it says, and nothing but."""

from dataclasses import replace

import numpy as np
import pytest

from service.vocabulary.design.design import Design
from service.vocabulary.design.rules import faults_in
from service.vocabulary.records.record import RECORD
from tests.simulator.cables import draw_cables
from tests.simulator.course import Course, draw_course
from tests.simulator.draws import start
from tests.simulator.equipment import with_pulse
from tests.simulator.geometry import GEOMETRIES, USUAL, Geometry
from tests.simulator.instrument import Direction
from tests.simulator.trial import Trial, marginal_trial

FIBRES = 24
SEEDS = range(8)


def draw(geometry: Geometry) -> list[Course]:
    """Draw some routes of a family."""
    return [draw_course(seed=seed, fibres=FIBRES, geometry=geometry) for seed in SEEDS]


def marginal(name: str, *, seed: int, fibres: int = 4) -> Trial:
    """Return a route of a family with splices near 0.15 dB."""
    return marginal_trial(seed=seed, fibres=fibres, geometry=GEOMETRIES[name], limit_db=0.15)


@pytest.mark.parametrize("name", GEOMETRIES)
def test_designs_and_records_of_every_family_are_valid(name: str) -> None:
    for seed in SEEDS:
        trial = marginal(name, seed=seed)
        assert faults_in(Design.model_validate(trial.course.design)) == []
        assert (trial.truth.section_lengths_m > 0).all()
        for record, shown in list(trial.traces())[:12]:
            RECORD.validate_python(record)
            assert [f"{event['distance_m']:.2f}" for event in record["events"]][:-1] == list(shown.events)
    for record in trial.power_records():
        RECORD.validate_python(record)


def test_fibres_of_a_tube_are_alike_in_length_and_tubes_differ() -> None:
    geometry = replace(USUAL, tube_percent=0.05, fibre_percent=0.0, tray_slack_m=0.0)
    for course in draw(geometry):
        lengths_m = course.truth.section_lengths_m
        np.testing.assert_array_equal(lengths_m[:12], np.broadcast_to(lengths_m[0], (12, lengths_m.shape[1])))
        assert (lengths_m[0] != lengths_m[12]).all()
        np.testing.assert_allclose(lengths_m[12] / lengths_m[0], 1, atol=0.0005 * 12)


def test_closures_lie_up_to_60_m_off_and_the_route_keeps_its_length() -> None:
    moved_m: list[float] = []
    for seed in SEEDS:
        longer_m = draw_cables(start(seed, 20), GEOMETRIES["off_design"]).built_longer_m
        assert longer_m.sum() == pytest.approx(0, abs=1e-9)
        moved_m += np.abs(np.cumsum(longer_m)).tolist()
    assert 50 < max(moved_m) <= 60


def test_closures_stand_in_groups_of_two_to_four_10_to_60_m_apart() -> None:
    for course in draw(GEOMETRIES["grouped"]):
        gaps_m = [one["cable_length_m"] for one in course.design["sections"] if not one["slack_m"]]
        assert 2 <= len(gaps_m) <= 6
        assert all(10 <= gap_m <= 60 for gap_m in gaps_m)


@pytest.mark.parametrize("name", ["indices_apart_stated", "indices_apart_unstated", "indices_apart_misstated"])
def test_indices_are_0_34_percent_apart_and_stated_or_not(name: str) -> None:
    for course in draw(GEOMETRIES[name]):
        one, other = course.gear.otdr_at_a, course.gear.otdr_at_b
        for nm in course.truth.wavelengths_nm:
            ratio = one.group_index[nm] / other.group_index[nm]
            assert max(ratio, 1 / ratio) == pytest.approx(1.0034, abs=2e-5)
            stated = [otdr.posted_index.get(nm) for otdr in (one, other)]
            if name == "indices_apart_stated":
                assert stated == [one.group_index[nm], other.group_index[nm]]
            elif name == "indices_apart_unstated":
                assert stated == [None, None]
            else:
                assert stated[0] == stated[1]


def test_noise_grows_with_distance_and_is_less_for_a_longer_pulse() -> None:
    # Computed: 0.3 * 5 / ln 10 of the ratio of noise to backscatter, which is one where the range ends.
    otdr = replace(
        draw(USUAL)[0].gear.otdr_at_a, dynamic_range_db={1550: 40.0}, averaging_s=180.0, reading_noise_db=0.0
    )
    at_range = with_pulse(otdr, 10_000).noise_db(np.array([40.0, 35.0]), wavelength_nm=1550)
    assert at_range == pytest.approx([0.6514, 0.06514], abs=1e-4)
    # A hundredth of the pulse costs 10 dB of range.
    assert with_pulse(otdr, 100).range_db(1550) == pytest.approx(30.0)


def test_long_routes_are_noisy_at_their_far_end_and_usual_ones_hardly() -> None:
    for name, low_db, high_db in (("usual", 0.006, 0.0075), ("long_route_noisy", 0.02, 0.3)):
        for seed in SEEDS:
            noises_db = marginal(name, seed=seed).noises_db
            worst_db = max(float(noise_db.max()) for noise_db in noises_db.values())
            assert low_db <= worst_db <= high_db


def test_every_fibre_is_shot_with_every_pulse() -> None:
    trial = marginal("several_pulses", seed=1)
    shown = [one for _, one in trial.traces()]
    pulses_ns = trial.course.pulses_ns
    assert len(pulses_ns) >= 2
    assert len(shown) == 4 * 2 * 2 * len(pulses_ns)
    assert {one.pulse_ns for one in shown if one.fibre == 1 and one.direction is Direction.A_TO_B} == set(pulses_ns)


def test_the_slopes_and_events_of_a_trace_add_up_to_its_total() -> None:
    for name in ("plain", "usual", "several_pulses"):
        for record, _ in marginal(name, seed=3).traces():
            *events, end = record["events"]
            sections_m = np.diff([event["distance_m"] for event in events])
            slopes = [event.get("attenuation_db_per_km", 0.3) for event in events[1:]]
            parts_db = sum(event["loss_db"] for event in events) + float(sections_m @ np.array(slopes)) / 1000
            # 24 stretches of 0.003 dB noise each, and rounding of slopes over tens of kilometres.
            assert record["total_loss"]["loss_db"] == pytest.approx(parts_db, abs=0.2)
            assert end["kind"] == "end"


def test_even_fibres_have_splices_about_the_limit_and_odd_ones_good_ones() -> None:
    trial = marginal("usual", seed=2, fibres=FIBRES)
    losses_db = trial.truth.splice_loss_db[:, :, 1:-1]
    assert (losses_db[:, ::2] < 0.15).all()
    assert ((losses_db[:, 1::2] > 0.12).sum(axis=2) == 2).all()
