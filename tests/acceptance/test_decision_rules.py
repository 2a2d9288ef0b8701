"""How often each decision rule lets an item pass that does not conform: 100,000 draws each, held as findings are.

Source: ILAC-G8:09/2019, 4.2 (seen): simple acceptance an even chance at the limit, a guard band of U below 2.5 %,
one of 0.83 U below 5 %. The normal distribution is SciPy's, not the project's own.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.stats import norm

from service.vocabulary.criteria.words import DecisionRule, Unit
from service.vocabulary.findings.words import Grade, Outcome
from tests.acceptance.figures import Share
from worker.judgement.numbers.exact import PARTS
from worker.judgement.numbers.limits import Held, Limit, hold

DRAWS = 100_000
LIMIT_DB = 0.10
EXPANDED_DB = 0.04
COVERAGE = 2.0
STANDARD_DB = EXPANDED_DB / COVERAGE
# Of 25 intervals with this confidence one misses its truth in fewer than one run in a hundred.
CONFIDENCE = 0.9997


@dataclass(frozen=True, kw_only=True)
class Passing:
    """What counts as passing by a rule, and its guard band as a multiple of the expanded uncertainty."""

    rule: DecisionRule
    guard: float
    grade: Grade | None = None

    def is_passed(self, held: Held) -> bool:
        """Tell whether a value passes."""
        return held.outcome is Outcome.CONFORMING and self.grade in {None, held.grade}


PASSINGS = [
    pytest.param(Passing(rule=DecisionRule.SIMPLE, guard=0.0), id="simple"),
    pytest.param(Passing(rule=DecisionRule.GUARDED, guard=1.0), id="guarded"),
    pytest.param(Passing(rule=DecisionRule.GUARDED, guard=0.83), id="guarded-0.83"),
    pytest.param(Passing(rule=DecisionRule.FOUR_WAY, guard=0.0), id="four-way-conditional"),
    pytest.param(Passing(rule=DecisionRule.FOUR_WAY, guard=1.0, grade=Grade.FULL), id="four-way-full"),
]


@pytest.mark.parametrize("passing", PASSINGS)
@pytest.mark.parametrize("beyond", [0.0, 0.5, 1.0, 2.0])
def test_an_item_beyond_its_limit_passes_as_often_as_the_normal_distribution_says(
    passing: Passing, beyond: float, capsys: pytest.CaptureFixture[str]
) -> None:
    source = np.random.default_rng([7, round(beyond * 10)])
    readings_db = source.normal(LIMIT_DB + beyond * STANDARD_DB, STANDARD_DB, DRAWS)
    share = Share(sum(_passed(passing, readings_db)), DRAWS)
    expected = float(norm.cdf(-passing.guard * COVERAGE - beyond))
    _print(capsys, f"{passing.rule}, {beyond} u beyond the limit: passes {share}; by the normal {expected:.4%}")
    low, high = share.interval_at(CONFIDENCE)
    assert low <= expected <= high


@pytest.mark.parametrize("passing", PASSINGS)
def test_of_items_that_pass_as_many_do_not_conform_as_the_normal_distribution_says(
    passing: Passing, capsys: pytest.CaptureFixture[str]
) -> None:
    source = np.random.default_rng(11)
    wide_db = 6 * STANDARD_DB
    true_db = source.uniform(LIMIT_DB - wide_db, LIMIT_DB + wide_db, DRAWS)
    passed = np.fromiter(_passed(passing, source.normal(true_db, STANDARD_DB)), dtype=np.bool_, count=DRAWS)
    share = Share(int((passed & (true_db > LIMIT_DB)).sum()), int(passed.sum()))
    edge_db = LIMIT_DB - passing.guard * EXPANDED_DB

    def chance(item_db: float) -> float:
        return float(norm.cdf((edge_db - item_db) / STANDARD_DB))

    beyond, _ = quad(chance, LIMIT_DB, LIMIT_DB + wide_db)
    within, _ = quad(chance, LIMIT_DB - wide_db, LIMIT_DB)
    expected = beyond / (beyond + within)
    _print(capsys, f"{passing.rule}, of what passes does not conform {share}; by the normal {expected:.4%}")
    low, high = share.interval_at(CONFIDENCE)
    assert low <= expected <= high


def test_a_least_is_held_like_a_most_turned_round() -> None:
    readings_db = np.random.default_rng(13).normal(0.0, STANDARD_DB, 2000)
    for rule in DecisionRule:
        most = Limit(0, unit=Unit.DB, rule=rule, band=_parts(EXPANDED_DB))
        least = Limit(0, unit=Unit.DB, rule=rule, band=_parts(EXPANDED_DB), is_minimum=True)
        for reading in map(_parts, readings_db.tolist()):
            assert hold(low=reading, high=reading, limit=most) == hold(low=-reading, high=-reading, limit=least)


def _passed(passing: Passing, readings_db: NDArray[np.float64]) -> Iterator[bool]:
    # The grade says whether a four-way decision stands beyond the band; without a grade asked for, any pass counts.
    guard = 1.0 if passing.rule is DecisionRule.FOUR_WAY else passing.guard
    limit = Limit(_parts(LIMIT_DB), unit=Unit.DB, rule=passing.rule, band=_parts(guard * EXPANDED_DB))
    for reading in map(_parts, readings_db.tolist()):
        yield passing.is_passed(hold(low=reading, high=reading, limit=limit))


def _parts(value_db: float) -> int:
    return round(value_db * PARTS)


def _print(capsys: pytest.CaptureFixture[str], line: str) -> None:
    with capsys.disabled():
        print(f"\n{line}")
