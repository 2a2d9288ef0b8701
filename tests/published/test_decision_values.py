"""Decision rules and combined uncertainty against check values from outside."""

import pytest

from tests.published.check_values import source_of
from tests.published.decision_values import (
    COMBINED,
    CONFORMITY,
    FALSE_ACCEPTANCE,
    FOUR_WAY,
    FOUR_WAY_EXPANDED,
    FOUR_WAY_LIMIT,
    CombinedCheck,
    ConformityCheck,
    FalseAcceptanceCheck,
    FourWayCheck,
)
from worker.physics.decision import (
    FourWay,
    conformity_probability,
    decide_four_way,
    false_acceptance_probability,
    passes_guarded,
    passes_simple,
)
from worker.physics.uncertainty import combined_with_common_uncertainty


@pytest.mark.parametrize("check", CONFORMITY, ids=source_of)
def test_an_item_conforms_as_likely_as_published(check: ConformityCheck) -> None:
    probability = conformity_probability(
        value=check.value, upper_limit=check.upper_limit, standard_uncertainty=check.standard_uncertainty
    )
    assert probability == pytest.approx(check.probability, abs=check.tolerance)


@pytest.mark.parametrize("check", FOUR_WAY, ids=source_of)
def test_the_three_rules_answer_as_published(check: FourWayCheck) -> None:
    guarded = {"expanded_uncertainty": FOUR_WAY_EXPANDED, "guard_factor": 1.0}
    answer = decide_four_way(value=check.value, upper_limit=FOUR_WAY_LIMIT, **guarded)
    assert FourWay(int(answer)) is check.answer
    assert passes_guarded(value=check.value, upper_limit=FOUR_WAY_LIMIT, **guarded) == (check.answer == FourWay.PASS)
    assert passes_simple(value=check.value, upper_limit=FOUR_WAY_LIMIT) == (check.answer <= FourWay.CONDITIONAL_PASS)


@pytest.mark.parametrize("check", FALSE_ACCEPTANCE, ids=source_of)
def test_a_guard_band_keeps_false_acceptance_below_what_is_promised(check: FalseAcceptanceCheck) -> None:
    probability = false_acceptance_probability(guard_factor=check.guard_factor, coverage_factor=2.0)
    assert probability < check.below
    assert probability == pytest.approx(check.probability, abs=check.tolerance)


@pytest.mark.parametrize("check", COMBINED, ids=source_of)
def test_uncertainties_combine_as_published(check: CombinedCheck) -> None:
    combined = combined_with_common_uncertainty(
        sensitivities=check.sensitivities, own_uncertainties=check.own, common_uncertainties=check.common
    )
    assert combined == pytest.approx(check.combined, abs=check.tolerance)
