"""The physics against check values from outside."""

import pytest

from tests.published.check_values import (
    BUDGETS,
    DISTANCES,
    MISALIGNMENTS,
    MISMATCHES,
    REFERENCES,
    TWO_WAY,
    BudgetCheck,
    DistanceCheck,
    MisalignmentCheck,
    MismatchCheck,
    ReferenceCheck,
    TwoWayCheck,
    source_of,
)
from worker.physics.fibre import distance_from_time_m
from worker.physics.link import counted_connections, expected_link_loss_db
from worker.physics.splice import (
    mean_bidirectional_loss_db,
    mode_field_mismatch_loss_db,
    offset_loss_db,
    one_way_offset_db,
)
from worker.physics.tilt import tilt_loss_db


@pytest.mark.parametrize("check", MISMATCHES, ids=source_of)
def test_mismatch_loss_is_as_published(check: MismatchCheck) -> None:
    first, second = check.diameters_um
    loss_db = mode_field_mismatch_loss_db(mode_field_diameter_a_um=first, mode_field_diameter_b_um=second)
    assert loss_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", MISALIGNMENTS, ids=source_of)
def test_offset_and_tilt_loss_is_as_published(check: MisalignmentCheck) -> None:
    by_offset_db = offset_loss_db(offset_um=check.offset_um, mode_field_radius_um=check.mode_field_radius_um)
    by_tilt_db = tilt_loss_db(
        tilt_deg=check.tilt_deg,
        refractive_index=check.refractive_index,
        mode_field_radius_um=check.mode_field_radius_um,
        wavelength_um=check.wavelength_um,
    )
    assert by_offset_db + by_tilt_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", TWO_WAY, ids=source_of)
def test_two_directions_give_the_customary_mean_and_offset(check: TwoWayCheck) -> None:
    both = {"loss_a_to_b_db": check.a_to_b_mdb / 1000, "loss_b_to_a_db": check.b_to_a_mdb / 1000}
    assert mean_bidirectional_loss_db(**both) == pytest.approx(check.mean_db, abs=check.tolerance)
    assert one_way_offset_db(**both) == pytest.approx(check.offset_db, abs=check.tolerance)


@pytest.mark.parametrize("check", BUDGETS, ids=source_of)
def test_a_budget_adds_up_as_published(check: BudgetCheck) -> None:
    lengths, coefficients = zip(*check.sections, strict=True)
    loss_db = expected_link_loss_db(
        section_lengths_km=lengths,
        attenuations_db_per_km=coefficients,
        splice_losses_db=[check.splice_db] * check.splices,
        connection_losses_db=[check.pair_db] * check.pairs,
        other_db=check.other_db,
    )
    assert loss_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", REFERENCES, ids=source_of)
def test_the_reference_method_decides_which_ends_count(check: ReferenceCheck) -> None:
    connections = int(counted_connections(pairs=3, reference_cords=check.reference_cords))
    loss_db = expected_link_loss_db(
        section_lengths_km=[4.0],
        attenuations_db_per_km=[0.4],
        splice_losses_db=[0.3, 0.3],
        connection_losses_db=[0.75] * connections,
    )
    assert loss_db == pytest.approx(check.limit_db, abs=check.tolerance)


@pytest.mark.parametrize("check", DISTANCES, ids=source_of)
def test_a_time_is_a_distance_as_computed(check: DistanceCheck) -> None:
    distance_m = distance_from_time_m(round_trip_us=check.round_trip_us, group_index=check.group_index)
    assert distance_m == pytest.approx(check.distance_m, abs=check.tolerance)
