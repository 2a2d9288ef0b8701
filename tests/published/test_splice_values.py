"""What splices lose, and what one direction shows of it, against check values from outside."""

import math
import re
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from tests.factories import cord_ended, make_section, only, splice_criterion
from tests.published.check_values import (
    MISALIGNMENTS,
    MISMATCHES,
    TWO_WAY,
    MisalignmentCheck,
    MismatchCheck,
    TwoWayCheck,
    source_of,
)
from tests.published.one_way_values import (
    BOTH_EFFECTS,
    COEFFICIENTS,
    LEAST_LOSSES,
    MODE_FIELDS,
    BothEffectsCheck,
    CoefficientCheck,
    LeastLossCheck,
    ModeFieldCheck,
)
from tests.reference.overlap import overlap_loss_db
from tests.simulator.glass import draw_truth
from tests.simulator.truth import mismatch_loss_db, mode_field_offset_db
from tests.unit.judgement.joints import at_c1, traces
from tests.unit.judgement.judging import finding_of, judge
from worker.physics.splice import least_splice_loss_db

# Offsets of less are within what two readings are known to: the judge says nothing of them.
FAR_APART = [check for check in MISMATCHES if abs(10 * math.log10(check.diameters_um[1] / check.diameters_um[0])) > 0.5]


@pytest.mark.parametrize("check", MISMATCHES, ids=source_of)
def test_mismatch_loss_is_as_published(check: MismatchCheck) -> None:
    first, second = check.diameters_um
    by_judge_db = least_splice_loss_db(offset_db=10 * math.log10(second / first))
    by_overlap_db = overlap_loss_db(radius_a_um=first / 2, radius_b_um=second / 2)
    simulated_db = mismatch_loss_db(one_um=np.array(first), other_um=np.array(second))
    for loss_db in (by_judge_db, by_overlap_db, simulated_db):
        assert loss_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", FAR_APART, ids=source_of)
def test_the_judge_says_the_published_loss_of_a_pair_that_its_readings_set_so_far_apart(check: MismatchCheck) -> None:
    first, second = check.diameters_um
    apart_mdb = round(20_000 * math.log10(second / first))
    there_mdb = apart_mdb // 2
    design = cord_ended()
    for index in (0, 1):
        design["sections"][index] = make_section(f"S{index + 1}", fibre_type="TYPE-X")
    bodies = traces(there_mdb / 1000, (there_mdb - apart_mdb) / 1000, design=design)
    criteria = only(splice_criterion(), consistency={"scattering_db": 0.0})
    found = finding_of(judge(bodies, design=design, criteria=criteria), "SPLICE-1550", site="C1")
    assert found["reason"] == "impossible_pair"
    [said_db] = re.findall(r"lose (\d+\.\d+) dB at least", found["detail"])
    assert float(said_db) == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", MISALIGNMENTS, ids=source_of)
def test_the_overlap_of_fields_beside_and_at_an_angle_is_as_published(check: MisalignmentCheck) -> None:
    loss_db = overlap_loss_db(
        radius_a_um=check.mode_field_radius_um,
        radius_b_um=check.mode_field_radius_um,
        offset_um=check.offset_um,
        tilt_deg=check.tilt_deg,
        refractive_index=check.refractive_index,
        wavelength_um=check.wavelength_um,
    )
    assert loss_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", BOTH_EFFECTS, ids=source_of)
def test_the_overlap_of_unlike_fields_beside_each_other_is_as_computed(check: BothEffectsCheck) -> None:
    first, second = check.radii_um
    loss_db = overlap_loss_db(radius_a_um=first, radius_b_um=second, offset_um=check.offset_um)
    assert loss_db == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", LEAST_LOSSES, ids=source_of)
def test_an_offset_costs_at_least_its_mismatch(check: LeastLossCheck) -> None:
    assert least_splice_loss_db(offset_db=check.offset_db) == pytest.approx(check.loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", TWO_WAY, ids=source_of)
def test_the_judge_takes_two_directions_for_the_customary_mean_and_offset(check: TwoWayCheck) -> None:
    finding = at_c1(traces(check.a_to_b_mdb / 1000, check.b_to_a_mdb / 1000))
    there, back = (Decimal(reading["value"]) for reading in finding["readings"])
    mean = Decimal(finding["value"])
    assert mean == Decimal(str(check.mean_db))
    assert (there - mean, mean - back) == (Decimal(str(check.offset_db)),) * 2


@pytest.mark.parametrize("check", COEFFICIENTS, ids=source_of)
def test_simulated_glass_shows_half_the_difference_of_its_backscatter(check: CoefficientCheck) -> None:
    truth = draw_truth(sites=["A", "C1", "B"], section_lengths_m=np.full(2, 2000.0), fibre_count=1, uncut={}, seed=1)
    nominal_db, nominal_um = truth.nominal_backscatter_db[0], truth.nominal_mode_field_um[0]
    fields_um = nominal_um * 10 ** ((nominal_db - np.array(check.coefficients_db)) / 20)
    glass = replace(truth, mode_field_um=np.broadcast_to(fields_um, (2, 1, 2)))
    assert glass.backscatter_db[0, 0] == pytest.approx(check.coefficients_db, abs=1e-6)
    offset_db = mode_field_offset_db(from_um=fields_um[0], to_um=fields_um[1])
    assert offset_db == pytest.approx(check.offset_db, abs=1e-6)


@pytest.mark.parametrize("check", MODE_FIELDS, ids=source_of)
def test_simulated_mode_fields_make_the_offset_and_the_readings(check: ModeFieldCheck) -> None:
    first, second = map(np.array, check.diameters_um)
    there_db, back_db = (
        float(mode_field_offset_db(from_um=one, to_um=other)) for one, other in ((first, second), (second, first))
    )
    assert (there_db, back_db) == pytest.approx((check.offset_db, -check.offset_db), abs=check.tolerance)
    read_db = (check.true_loss_db + there_db, check.true_loss_db + back_db)
    assert read_db == pytest.approx(check.readings_db, abs=check.tolerance)
