"""How uncertainty enters the decision about a joint, at each edge of the guard band (ILAC-G8:09/2019, 4.2)."""

from typing import Any

import pytest

from tests.factories import connection_criterion, make_splice, only, splice_criterion, termination_criterion
from tests.unit.judgement.joints import at_c1, traces
from tests.unit.judgement.judging import finding_of, judge

BAND: dict[str, Any] = {"uncertainty_db": 0.04}


@pytest.mark.parametrize(
    ("loss_db", "outcome"), [(0.060, "conforming"), (0.061, "nonconforming"), (0.100, "nonconforming")]
)
def test_guarded_a_splice_conforms_only_beyond_the_guard_band(loss_db: float, outcome: str) -> None:
    finding = at_c1(traces(loss_db, loss_db), decision="guarded", **BAND)
    assert (finding["outcome"], finding["uncertainty"], "grade" in finding) == (outcome, "0.0400", False)
    assert finding["limit"] == "0.1000"


@pytest.mark.parametrize(
    ("loss_db", "outcome", "grade"),
    [
        (0.060, "conforming", "full"),
        (0.061, "conforming", "conditional"),
        (0.100, "conforming", "conditional"),
        (0.101, "nonconforming", "conditional"),
        (0.140, "nonconforming", "conditional"),
        (0.141, "nonconforming", "full"),
    ],
)
def test_four_way_the_limit_decides_and_the_band_grades(loss_db: float, outcome: str, grade: str) -> None:
    finding = at_c1(traces(loss_db, loss_db), decision="four_way", **BAND)
    assert (finding["outcome"], finding["grade"]) == (outcome, grade)


def test_simple_an_uncertainty_changes_nothing() -> None:
    finding = at_c1(traces(0.1, 0.1), **BAND)
    assert (finding["outcome"], "grade" in finding, "uncertainty" in finding) == ("conforming", False, False)


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.46, "conforming"), (0.461, "nonconforming")])
@pytest.mark.parametrize("criterion", [termination_criterion, connection_criterion])
def test_guarded_a_connection_conforms_only_beyond_the_guard_band(
    loss_db: float, outcome: str, criterion: object
) -> None:
    limited = criterion(code="ONE", decision="guarded", **BAND)  # type: ignore[operator]
    criteria = only(limited, termination_criterion(decision="guarded", **BAND))
    assert (
        finding_of(judge(traces(loss_db, loss_db, site="A"), criteria=criteria), "ONE", site="A")["outcome"] == outcome
    )


def test_the_fallback_is_guarded_too() -> None:
    tried = [make_splice(attempt=n, made_at=f"2025-03-03T0{n}:00:00Z") for n in (1, 2)]
    fallback: dict[str, Any] = {"attempts": 2, "limit_db": 0.2}
    for loss_db, outcome in ((0.16, "conforming"), (0.161, "nonconforming")):
        finding = at_c1([*traces(loss_db, loss_db), *tried], decision="guarded", fallback=fallback, **BAND)
        assert finding["outcome"] == outcome


def test_of_two_group_criteria_the_one_that_leaves_less_decides() -> None:
    plain = termination_criterion(code="PLAIN", limit_db=0.48)
    guarded = termination_criterion(code="GUARDED", limit_db=0.5, decision="guarded", **BAND)
    judgement = judge(traces(0.47, 0.47, site="A"), criteria=only(splice_criterion(), plain, guarded))
    finding = finding_of(judgement, "SPLICE-1550", site="A")
    assert (finding["outcome"], finding["detail"][:18]) == ("nonconforming", "decided by GUARDED")
