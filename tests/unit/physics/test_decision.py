"""Decision rules: against draws, at their bounds and on both sides, by properties, and for what they refuse."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from worker.physics.decision import (
    FourWay,
    conformity_probability,
    decide_four_way,
    false_acceptance_probability,
    passes_guarded,
    passes_simple,
)
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

LIMIT_DB, DEVIATION_DB, COVERAGE = 0.10, 0.02, 2.0
# A seed is fixed, so a draw either holds for ever or never; 4 deviations leave one in 16,000 to chance.
DEVIATIONS = 4.0


def interval_of(hits: np.ndarray, *, claim: str) -> tuple[float, float]:
    """Return between which shares the true one lies by these draws, and print it."""
    share, count = float(hits.mean()), hits.size
    half = DEVIATIONS * float(np.sqrt(max(share * (1 - share), 1 / count) / count))
    print(f"{claim}: {share:.4f}, between {share - half:.4f} and {share + half:.4f} by {count:,} draws")
    return share - half, share + half


def check_false_acceptance(*, draws: int, guard_factor: float) -> None:
    """Draw readings of an item on its limit and hold those accepted against the probability."""
    readings_db = np.random.default_rng(8).normal(LIMIT_DB, DEVIATION_DB, draws)
    accepted = passes_guarded(
        value=readings_db,
        upper_limit=LIMIT_DB,
        expanded_uncertainty=COVERAGE * DEVIATION_DB,
        guard_factor=guard_factor,
    )
    low, high = interval_of(accepted, claim=f"accepted on the limit with {guard_factor} U")
    assert low <= false_acceptance_probability(guard_factor=guard_factor, coverage_factor=COVERAGE) <= high


@pytest.mark.parametrize("guard_factor", [0.0, 0.5, 0.83, 1.0])
def test_an_item_on_its_limit_passes_as_often_as_computed(guard_factor: float) -> None:
    check_false_acceptance(draws=5_000, guard_factor=guard_factor)


@pytest.mark.slow
@pytest.mark.parametrize("guard_factor", [0.0, 0.5, 0.83, 1.0])
def test_an_item_on_its_limit_passes_as_often_as_computed_in_many_draws(guard_factor: float) -> None:
    check_false_acceptance(draws=100_000, guard_factor=guard_factor)


@pytest.mark.parametrize("value_db", [0.05, 0.09, 0.10, 0.12])
def test_an_item_conforms_as_often_as_draws_around_its_reading(value_db: float) -> None:
    items_db = np.random.default_rng(9).normal(value_db, DEVIATION_DB, 5_000)
    low, high = interval_of(items_db <= LIMIT_DB, claim=f"conforming at a reading of {value_db} dB")
    likely = conformity_probability(value=value_db, upper_limit=LIMIT_DB, standard_uncertainty=DEVIATION_DB)
    assert low <= likely <= high


def test_four_answers_come_as_often_as_the_distribution_says() -> None:
    readings_db = np.random.default_rng(10).normal(LIMIT_DB, DEVIATION_DB, 5_000)
    answers = decide_four_way(
        value=readings_db, upper_limit=LIMIT_DB, expanded_uncertainty=COVERAGE * DEVIATION_DB, guard_factor=1.0
    )
    for answer, share in zip(FourWay, np.diff(norm.cdf([-np.inf, -2, 0, 2, np.inf])), strict=True):
        low, high = interval_of(answers == answer, claim=answer.name)
        assert low <= share <= high


@pytest.mark.parametrize(
    ("value_db", "answer"),
    [
        (0.06, FourWay.PASS),
        (0.061, FourWay.CONDITIONAL_PASS),
        (0.10, FourWay.CONDITIONAL_PASS),
        (0.101, FourWay.CONDITIONAL_FAIL),
        (0.14, FourWay.CONDITIONAL_FAIL),
        (0.141, FourWay.FAIL),
        ((0.1 + 0.2 + 0.3) / 6, FourWay.CONDITIONAL_PASS),
    ],
)
def test_a_reading_on_a_bound_is_inside_it_and_one_step_above_is_not(value_db: float, answer: FourWay) -> None:
    decided = decide_four_way(value=value_db, upper_limit=0.10, expanded_uncertainty=0.04, guard_factor=1.0)
    assert int(decided) == answer


@given(step=st.integers(0, 300), limit=st.integers(0, 300), guard=st.integers(0, 100))
def test_floats_decide_as_whole_thousandths_do(step: int, limit: int, guard: int) -> None:
    arguments = {"value": step / 1000, "upper_limit": limit / 1000}
    expanded = {"expanded_uncertainty": guard / 1000, "guard_factor": 1.0}
    assert passes_simple(**arguments) == (step <= limit)
    assert passes_guarded(**arguments, **expanded) == (step <= limit - guard)
    expected = sum(step > bound for bound in (limit - guard, limit, limit + guard))
    assert int(decide_four_way(**arguments, **expanded)) == expected


@given(value=st.floats(-10, 10), limit=st.floats(-10, 10), deviation=st.floats(0.001, 5), scale=st.floats(0.1, 10))
def test_scaling_everything_leaves_the_probability(value: float, limit: float, deviation: float, scale: float) -> None:
    once = conformity_probability(value=value, upper_limit=limit, standard_uncertainty=deviation)
    scaled = conformity_probability(
        value=scale * value, upper_limit=scale * limit, standard_uncertainty=scale * deviation
    )
    assert scaled == pytest.approx(float(once), abs=1e-9)
    assert 0 <= once <= 1


@given(value=st.floats(-10, 10), limit=st.floats(-10, 10), deviation=st.floats(0.001, 5))
def test_the_probability_is_the_normal_one_and_its_counterpart_fills_it_up(
    value: float, limit: float, deviation: float
) -> None:
    upper = conformity_probability(value=value, upper_limit=limit, standard_uncertainty=deviation)
    lower = conformity_probability(value=-value, upper_limit=-limit, standard_uncertainty=deviation)
    assert upper == pytest.approx(norm.cdf(limit, loc=value, scale=deviation), rel=1e-9, abs=1e-300)
    assert upper + lower == pytest.approx(1, abs=1e-12)


@given(guard=st.floats(0, 3), wider=st.floats(0, 3), coverage=st.floats(0.5, 4))
def test_a_wider_guard_band_never_lets_more_pass(guard: float, wider: float, coverage: float) -> None:
    at_most, fewer = false_acceptance_probability(guard_factor=[guard, guard + wider], coverage_factor=coverage)
    assert 0 <= fewer <= at_most <= 0.5


def test_no_guard_band_is_the_simple_rule_and_no_uncertainty_neither() -> None:
    values_db = np.linspace(0, 0.2, 201)
    simple = passes_simple(value=values_db, upper_limit=0.1)
    for expanded_db, guard_factor in ((0.04, 0.0), (0.0, 1.0)):
        guarded = passes_guarded(
            value=values_db, upper_limit=0.1, expanded_uncertainty=expanded_db, guard_factor=guard_factor
        )
        assert guarded.tolist() == simple.tolist()


GUARDED = {"value": 0.05, "upper_limit": 0.1, "expanded_uncertainty": 0.04, "guard_factor": 1.0}


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (conformity_probability, {"value": 0.05, "upper_limit": 0.1, "standard_uncertainty": 0.02}),
        (passes_simple, {"value": 0.05, "upper_limit": 0.1}),
        (passes_guarded, GUARDED),
        (decide_four_way, GUARDED),
        (false_acceptance_probability, {"guard_factor": 1.0, "coverage_factor": 2.0}),
    ],
)
def test_unpaired_and_non_finite_arguments_are_refused(
    function: Callable[..., Any], arguments: dict[str, float]
) -> None:
    first, second, *_ = arguments
    with pytest.raises(UnpairedReadingsError):
        function(**{**arguments, first: [1.0, 1.0], second: [1.0, 1.0, 1.0]})
    for bad in arguments:
        with pytest.raises(NonFiniteReadingError):
            function(**{**arguments, bad: np.nan})


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (conformity_probability, {"value": 0.05, "upper_limit": 0.1, "standard_uncertainty": 0.0}),
        (passes_guarded, {**GUARDED, "expanded_uncertainty": -0.01}),
        (passes_guarded, {**GUARDED, "guard_factor": -0.1}),
        (decide_four_way, {**GUARDED, "expanded_uncertainty": -0.01}),
        (decide_four_way, {**GUARDED, "guard_factor": -0.1}),
        (false_acceptance_probability, {"guard_factor": -0.1, "coverage_factor": 2.0}),
        (false_acceptance_probability, {"guard_factor": 1.0, "coverage_factor": 0.0}),
    ],
)
def test_what_lies_outside_the_rules_range_is_refused(
    function: Callable[..., Any], arguments: dict[str, float]
) -> None:
    with pytest.raises(OutOfRangeError):
        function(**arguments)
