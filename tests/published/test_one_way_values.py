"""What one direction shows, against check values from outside."""

import numpy as np
import pytest

from tests.published.check_values import source_of
from tests.published.one_way_values import (
    BOTH_EFFECTS,
    COEFFICIENTS,
    LEAST_LOSSES,
    MODE_FIELDS,
    UNSEEN,
    BothEffectsCheck,
    CoefficientCheck,
    LeastLossCheck,
    ModeFieldCheck,
    UnseenCheck,
)
from worker.physics.one_way import (
    implied_mode_field_ratio,
    least_splice_loss_db,
    offset_from_backscatter_db,
    offset_from_mode_fields_db,
)
from worker.physics.splice import mismatch_and_offset_loss_db


@pytest.mark.parametrize("check", COEFFICIENTS, ids=source_of)
def test_half_the_difference_of_backscatter_is_the_offset(check: CoefficientCheck) -> None:
    first, second = check.coefficients_db
    offset_db = offset_from_backscatter_db(backscatter_coefficient_a_db=first, backscatter_coefficient_b_db=second)
    assert offset_db == pytest.approx(check.offset_db, abs=check.tolerance)


@pytest.mark.parametrize("check", MODE_FIELDS, ids=source_of)
def test_mode_fields_make_the_offset_and_the_offset_gives_them_back(check: ModeFieldCheck) -> None:
    first, second = check.diameters_um
    offset_db = offset_from_mode_fields_db(mode_field_diameter_a_um=first, mode_field_diameter_b_um=second)
    assert offset_db == pytest.approx(check.offset_db, abs=check.tolerance)
    read_db = (check.true_loss_db + float(offset_db), check.true_loss_db - float(offset_db))
    assert read_db == pytest.approx(check.readings_db, abs=check.tolerance)
    ratio = implied_mode_field_ratio(offset_db=check.offset_db)
    assert ratio == pytest.approx(second / first, abs=check.tolerance)


@pytest.mark.parametrize("check", LEAST_LOSSES, ids=source_of)
def test_an_offset_costs_at_least_its_mismatch(check: LeastLossCheck) -> None:
    assert least_splice_loss_db(offset_db=check.offset_db) == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", BOTH_EFFECTS, ids=source_of)
def test_mismatch_and_offset_lose_together_as_computed(check: BothEffectsCheck) -> None:
    first, second = check.radii_um
    loss_db = mismatch_and_offset_loss_db(
        mode_field_radius_a_um=first, mode_field_radius_b_um=second, offset_um=check.offset_um
    )
    assert loss_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", UNSEEN, ids=source_of)
def test_about_a_third_of_good_splices_are_unseen_from_some_side(check: UnseenCheck) -> None:
    draws = np.random.default_rng(20_260)
    fields_um = draws.normal(9.2, check.mode_field_deviation_um, (2, 20_000))
    offset_db = offset_from_mode_fields_db(mode_field_diameter_a_um=fields_um[0], mode_field_diameter_b_um=fields_um[1])
    readings_db = check.true_loss_db + np.array([offset_db, -offset_db]) + draws.normal(0, check.noise_db, (2, 20_000))
    unseen = (np.abs(readings_db) < check.threshold_db).any(axis=0).mean()
    assert unseen == pytest.approx(check.share, abs=check.tolerance)
