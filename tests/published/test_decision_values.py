"""What the judge decides by each rule, and combined uncertainty, against check values from outside."""

from bisect import bisect_right
from statistics import NormalDist
from typing import Any

import pytest

from service.vocabulary.criteria.words import DecisionRule, Unit
from service.vocabulary.findings.words import Grade, Outcome
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
from tests.reference.uncertainty import combined_uncertainty
from tests.unit.judgement.joints import at_c1, traces
from worker.judgement.numbers.exact import PARTS
from worker.judgement.numbers.limits import Limit, hold


def greatest_that_passes(limit: Limit) -> float:
    """Return the greatest value that the judge lets pass, found by asking it of ever fewer."""

    def fails(value: int) -> bool:
        return hold(low=value, high=value, limit=limit).outcome is not Outcome.CONFORMING

    around = range(int(limit.exact) - PARTS, int(limit.exact) + PARTS)
    return around[bisect_right(around, False, key=fails) - 1] / PARTS


@pytest.mark.parametrize("check", CONFORMITY, ids=source_of)
def test_of_items_as_likely_by_a_reading_the_judge_lets_the_published_share_pass(check: ConformityCheck) -> None:
    edge = greatest_that_passes(Limit(round(check.upper_limit * PARTS), unit=Unit.DB))
    probability = NormalDist(check.value, check.standard_uncertainty).cdf(edge)
    assert probability == pytest.approx(check.probability, abs=check.tolerance)


@pytest.mark.parametrize("check", FALSE_ACCEPTANCE, ids=source_of)
def test_a_guard_band_keeps_false_acceptance_below_what_is_promised(check: FalseAcceptanceCheck) -> None:
    # An item on its limit of 0.10, read with a standard uncertainty of 0.02: k = 2 makes 0.04 of it.
    band = round(check.guard_factor * 0.04 * PARTS)
    edge = greatest_that_passes(Limit(PARTS // 10, unit=Unit.DB, rule=DecisionRule.GUARDED, band=band))
    probability = NormalDist(0.10, 0.02).cdf(edge)
    assert probability <= check.at_most
    assert probability == pytest.approx(check.probability, abs=check.tolerance)


@pytest.mark.parametrize("check", FOUR_WAY, ids=source_of)
def test_the_judge_answers_by_all_three_rules_as_published(check: FourWayCheck) -> None:
    band: dict[str, Any] = {"limit_db": FOUR_WAY_LIMIT, "uncertainty_db": FOUR_WAY_EXPANDED}
    both_ways = traces(check.value, check.value)
    four_way = at_c1(both_ways, decision="four_way", **band)
    assert (four_way["outcome"], four_way["grade"]) == (check.outcome, check.grade)
    is_full_pass = (check.outcome, check.grade) == (Outcome.CONFORMING, Grade.FULL)
    guarded = at_c1(both_ways, decision="guarded", **band)
    assert guarded["outcome"] == (Outcome.CONFORMING if is_full_pass else Outcome.NONCONFORMING)
    assert at_c1(both_ways, decision="simple", **band)["outcome"] == check.outcome


@pytest.mark.parametrize("check", COMBINED, ids=source_of)
def test_uncertainties_combine_as_published(check: CombinedCheck) -> None:
    combined = combined_uncertainty(sensitivities=check.sensitivities, own=check.own, common=check.common)
    assert combined == pytest.approx(check.combined, abs=check.tolerance)
