"""What the simulated instruments show, held against the truth they were given."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tests.reference.uncertainty import combined_uncertainty
from tests.simulator.crew import Hand
from tests.simulator.draws import Floats, draw_around, draw_between, start
from tests.simulator.glass import draw_truth
from tests.simulator.instrument import Direction, Traces, read_power, site_offsets_db, take_traces
from tests.simulator.rounds import Gear, make_gear
from tests.simulator.truth import RouteTruth

NOISE_DB = 0.006


def make_truth(*, fibres: int = 48, sections: int = 6, seed: int = 1) -> RouteTruth:
    return draw_truth(
        sites=["A", *(f"C{number}" for number in range(1, sections)), "B"],
        section_lengths_m=np.full(sections, 2000.0),
        fibre_count=fibres,
        uncut={3: [1, 2]},
        seed=seed,
    )


def make_default_gear() -> Gear:
    hand = Hand(operator="p-1", device="tablet-1")
    return make_gear(hand_at_a=hand, hand_at_b=hand, loss_threshold_db=0.02, pulse_ns=100, range_m=40_000.0)


def take(truth: RouteTruth, direction: Direction, *, reading_noise_db: float = NOISE_DB) -> Traces:
    gear = make_default_gear()
    return take_traces(
        truth,
        otdr=replace(gear.otdr_at_a, reading_noise_db=reading_noise_db),
        cord_at_a=gear.cord_at_a,
        cord_at_b=gear.cord_at_b,
        direction=direction,
        source=start(7, list(Direction).index(direction)),
    )


def test_the_offset_of_every_site_has_the_opposite_sign_in_the_other_direction() -> None:
    truth, gear = make_truth(), make_default_gear()
    forward, backward = (
        site_offsets_db(truth, cord_at_a=gear.cord_at_a, cord_at_b=gear.cord_at_b, direction=direction)
        for direction in Direction
    )
    assert np.abs(forward).max() > 0.1
    np.testing.assert_allclose(forward, -backward, atol=3e-6)


def test_the_offset_is_half_the_difference_of_the_backscatter_coefficients() -> None:
    # common practice: with K in dB on both sides, the offset from A to B is (K_A - K_B) / 2.
    truth, gear = make_truth(), make_default_gear()
    offsets = site_offsets_db(truth, cord_at_a=gear.cord_at_a, cord_at_b=gear.cord_at_b, direction=Direction.A_TO_B)
    coefficients = truth.backscatter_db
    np.testing.assert_allclose(offsets[..., 1:-1], (coefficients[..., :-1] - coefficients[..., 1:]) / 2, atol=3e-6)


def test_the_mean_of_both_directions_is_the_truth_within_noise() -> None:
    truth = make_truth()
    forward, backward = (take(truth, direction).readings_db for direction in Direction)
    error = (forward + backward) / 2 - truth.joint_loss_db
    error = error[~np.isnan(error)]
    expected_db = combined_uncertainty(sensitivities=[0.5, 0.5], own=[NOISE_DB, NOISE_DB])
    assert error.std() == pytest.approx(expected_db, rel=0.15)
    assert abs(error.mean()) < 0.001


def test_one_direction_alone_is_far_from_the_truth_and_gains_occur() -> None:
    truth = make_truth()
    readings = take(truth, Direction.A_TO_B).readings_db
    assert np.nanmax(np.abs(readings - truth.joint_loss_db)) > 0.1
    assert np.nanmin(readings) < -0.05


def test_a_fibre_that_passes_uncut_has_nothing_to_read() -> None:
    readings = take(make_truth(), Direction.B_TO_A).readings_db
    assert np.isnan(readings[:, :2, 3]).all()
    assert np.isnan(readings).sum() == 4


def test_events_lie_behind_the_cord_of_the_end_they_are_seen_from() -> None:
    truth, gear = make_truth(), make_default_gear()
    forward, backward = (take(truth, direction) for direction in Direction)
    assert forward.launch == backward.receive == gear.cord_at_a
    along_m = forward.distances_m - gear.cord_at_a.length_m
    back_m = backward.distances_m - gear.cord_at_b.length_m
    np.testing.assert_allclose(along_m + back_m, truth.lengths_m[0], atol=6)
    np.testing.assert_allclose(along_m[:, :, 1], 2000, atol=2)


def test_a_wrong_index_moves_ten_kilometres_as_computed() -> None:
    # Computed: an index wrong by 0.0005 moves 10 km by 3.4 m.
    truth, gear = make_truth(fibres=2, sections=5), make_default_gear()
    otdr = replace(gear.otdr_at_a, position_noise_m=0.0, group_index={1310: 1.468, 1550: 1.4685})
    same_glass = replace(truth, group_index=np.array([1.468, 1.468]))
    ends = {"cord_at_a": gear.cord_at_a, "cord_at_b": gear.cord_at_b, "direction": Direction.A_TO_B}
    along_m = take_traces(same_glass, otdr=otdr, source=start(7), **ends).distances_m[:, 0]  # type: ignore[arg-type]
    right_m, wrong_m = along_m[:, -1] - along_m[:, 0]
    assert right_m == pytest.approx(10_000.0, abs=0.01)
    assert right_m - wrong_m == pytest.approx(3.4, abs=0.05)


def test_readings_have_three_decimal_places() -> None:
    readings = take(make_truth(), Direction.A_TO_B).readings_db
    shown = readings[~np.isnan(readings)].tolist()
    assert all(round(value, 3) == value for value in shown)


def test_one_cord_counts_both_end_connections_and_each_further_cord_one_less() -> None:
    # IEC 61280-4-2, from memory: a one-cord reference counts both end connections, two-cord one, three-cord neither.
    truth, gear = make_truth(), make_default_gear()
    by_cords = [
        read_power(truth, instruments=replace(gear.power_from_a, reference_cords=cords, noise_db=0.0), source=start(3))
        for cords in (1, 2, 3)
    ]
    np.testing.assert_allclose(by_cords[0], truth.link_loss_db, atol=0.0051)
    pair_db = gear.power_from_a.reference_pair_loss_db
    for more, fewer in pairwise(by_cords):
        np.testing.assert_allclose(more - fewer, pair_db, atol=0.0101)


def test_a_third_of_good_splices_is_unseen_from_some_side() -> None:
    # trade practice, computed: mean loss 0.04 dB, mode fields spread by 0.12 um, noise 0.01 dB and threshold 0.02 dB
    # leave 31 % unseen from some side. How losses spread about their mean is not said there; constant to exponential
    # moves the share between 29 and 35 %, hence the tolerance.
    truth = _route_of_good_splices(mean_loss_db=0.04, mode_field_deviation_um=0.12)
    seen = [take(truth, direction, reading_noise_db=0.01).readings_db[0, :, 1:-1] for direction in Direction]
    unseen = (np.abs(seen[0]) <= 0.02) | (np.abs(seen[1]) <= 0.02)
    assert unseen.size > 20_000
    assert unseen.mean() == pytest.approx(0.31, abs=0.04)


def test_draws_have_the_centre_and_deviation_they_were_asked_for() -> None:
    drawn = draw_around(start(1), (200_000,), centre=3.0, deviation=0.5)
    assert drawn.mean() == pytest.approx(3.0, abs=0.01)
    assert drawn.std() == pytest.approx(0.5, rel=0.01)


def test_the_same_seeds_give_the_same_draws_and_other_seeds_others() -> None:
    assert start(1, 2).random(5).tolist() == start(1, 2).random(5).tolist()
    assert start(1, 2).random(5).tolist() != start(1, 3).random(5).tolist()


def _route_of_good_splices(*, mean_loss_db: float, mode_field_deviation_um: float) -> RouteTruth:
    truth = make_truth(fibres=864, sections=42)
    losses: Floats = draw_between(start(5), truth.splice_loss_db.shape, low=0, high=2 * mean_loss_db)
    glass = draw_around(start(6), truth.mode_field_um.shape, centre=9.2, deviation=mode_field_deviation_um)
    everywhere = np.ones_like(truth.has_splice)
    return replace(truth, splice_loss_db=losses, mode_field_um=glass, has_splice=everywhere)
