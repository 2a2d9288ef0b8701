"""Link budget, connections and distance: properties, ends of the range, and what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.fibre import distance_from_time_m
from worker.physics.link import counted_connections, expected_link_loss_db

LENGTHS_KM = st.floats(min_value=0, max_value=100)


@given(near_km=LENGTHS_KM, far_km=LENGTHS_KM)
def test_a_section_cut_in_two_loses_the_same(near_km: float, far_km: float) -> None:
    whole = expected_link_loss_db(section_lengths_km=[near_km + far_km], attenuations_db_per_km=[0.2])
    parts = expected_link_loss_db(section_lengths_km=[near_km, far_km], attenuations_db_per_km=[0.2, 0.2])
    assert float(whole) == pytest.approx(float(parts), abs=1e-9)


def test_a_link_of_nothing_loses_nothing() -> None:
    assert expected_link_loss_db(section_lengths_km=[], attenuations_db_per_km=[]) == 0


def test_one_coefficient_belongs_to_each_section() -> None:
    with pytest.raises(UnpairedReadingsError):
        expected_link_loss_db(section_lengths_km=[1.0, 2.0], attenuations_db_per_km=[0.2])


@pytest.mark.parametrize(("length_km", "coefficient"), [(-0.001, 0.2), (1.0, -0.001)])
def test_a_length_or_coefficient_below_zero_is_refused(length_km: float, coefficient: float) -> None:
    with pytest.raises(OutOfRangeError):
        expected_link_loss_db(section_lengths_km=[length_km], attenuations_db_per_km=[coefficient])


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_loss_that_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(NonFiniteReadingError):
        expected_link_loss_db(section_lengths_km=[1.0], attenuations_db_per_km=[0.2], splice_losses_db=[bad])


def test_a_reference_never_takes_away_more_pairs_than_there_are() -> None:
    # Common practice, no source: with three cords both end connections are in the reference.
    assert counted_connections(pairs=[0, 1, 2], reference_cords=3).tolist() == [0, 0, 0]


@pytest.mark.parametrize(("pairs", "cords"), [(-1, 1), (2, 0), (2, 4)])
def test_an_impossible_reference_is_refused(pairs: int, cords: int) -> None:
    with pytest.raises(OutOfRangeError):
        counted_connections(pairs=pairs, reference_cords=cords)


@given(time_us=st.floats(0, 1000), index=st.floats(1.0, 2.0))
def test_twice_the_time_is_twice_the_distance(time_us: float, index: float) -> None:
    once = distance_from_time_m(round_trip_us=time_us, group_index=index)
    twice = distance_from_time_m(round_trip_us=2 * time_us, group_index=index)
    assert float(twice) == pytest.approx(2 * float(once), rel=1e-12)


def test_a_wrong_index_moves_ten_kilometres_as_computed() -> None:
    # Computed: an index wrong by 0.0005 moves 10 km by 3.4 m.
    time_us = 2 * 1.468 * 10_000 / 299.792458
    shift_m = distance_from_time_m(round_trip_us=time_us, group_index=[1.468, 1.4685])
    assert shift_m[0] - shift_m[1] == pytest.approx(3.4, abs=0.05)


@pytest.mark.parametrize(("time_us", "index"), [(-0.1, 1.468), (1.0, 0.99)])
def test_an_impossible_time_or_index_is_refused(time_us: float, index: float) -> None:
    with pytest.raises(OutOfRangeError):
        distance_from_time_m(round_trip_us=time_us, group_index=index)


def test_a_time_that_is_no_number_is_refused() -> None:
    with pytest.raises(NonFiniteReadingError):
        distance_from_time_m(round_trip_us=np.nan, group_index=1.468)
