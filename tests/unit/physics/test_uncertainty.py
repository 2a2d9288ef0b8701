"""Combined uncertainty: against draws, by properties, and for what it refuses."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.uncertainty import (
    combined_standard_uncertainty,
    combined_with_common_uncertainty,
    expanded_uncertainty,
)

UNCERTAINTIES = st.floats(0.0, 2.0)
INPUTS = st.lists(st.tuples(st.floats(-3.0, 3.0), UNCERTAINTIES, UNCERTAINTIES), min_size=1, max_size=6)


@pytest.mark.parametrize("sensitivities", [(0.5, 0.5), (0.5, -0.5), (1.0, 1.0), (2.0, -0.3)])
def test_results_drawn_with_a_shared_cause_scatter_as_computed(sensitivities: tuple[float, float]) -> None:
    draws, own, common = np.random.default_rng(11), np.array([0.03, 0.05]), np.array([0.04, 0.10])
    count = 20_000
    errors = own[:, None] * draws.normal(size=(2, count)) + common[:, None] * draws.normal(size=count)
    scatter = float(np.std(np.array(sensitivities) @ errors))
    # Four standard deviations of a standard deviation drawn from a normal distribution.
    half = 4 * scatter / np.sqrt(2 * count)
    print(f"{sensitivities}: {scatter:.5f}, between {scatter - half:.5f} and {scatter + half:.5f} by {count:,} draws")
    combined = combined_with_common_uncertainty(
        sensitivities=sensitivities, own_uncertainties=own, common_uncertainties=common
    )
    assert scatter - half <= combined <= scatter + half


@given(inputs=INPUTS, scale=st.floats(0.0, 10.0))
def test_scaling_every_uncertainty_scales_the_result(inputs: list[tuple[float, float, float]], scale: float) -> None:
    weights, own, common = np.array(inputs).T
    once = combined_with_common_uncertainty(sensitivities=weights, own_uncertainties=own, common_uncertainties=common)
    scaled = combined_with_common_uncertainty(
        sensitivities=weights, own_uncertainties=scale * own, common_uncertainties=scale * common
    )
    assert scaled == pytest.approx(scale * float(once), rel=1e-9, abs=1e-9)


@given(inputs=INPUTS)
def test_order_and_common_sign_change_nothing_and_nothing_common_is_independence(
    inputs: list[tuple[float, float, float]],
) -> None:
    weights, own, common = np.array(inputs).T
    whole = combined_with_common_uncertainty(sensitivities=weights, own_uncertainties=own, common_uncertainties=common)
    turned = combined_with_common_uncertainty(
        sensitivities=-weights[::-1], own_uncertainties=own[::-1], common_uncertainties=common[::-1]
    )
    assert turned == pytest.approx(float(whole), rel=1e-9, abs=1e-9)
    independent = combined_standard_uncertainty(sensitivities=weights, standard_uncertainties=own)
    alone = combined_with_common_uncertainty(
        sensitivities=weights, own_uncertainties=own, common_uncertainties=np.zeros_like(common)
    )
    assert alone == pytest.approx(float(independent), rel=1e-12, abs=1e-15)
    assert whole >= independent - 1e-12


@given(uncertainty=UNCERTAINTIES, count=st.integers(1, 50))
def test_a_mean_keeps_what_is_common_and_wears_down_what_is_not(uncertainty: float, count: int) -> None:
    mean, every, none = np.full(count, 1 / count), np.full(count, uncertainty), np.zeros(count)
    common = combined_with_common_uncertainty(sensitivities=mean, own_uncertainties=none, common_uncertainties=every)
    own = combined_with_common_uncertainty(sensitivities=mean, own_uncertainties=every, common_uncertainties=none)
    assert common == pytest.approx(uncertainty, rel=1e-9, abs=1e-12)
    assert own == pytest.approx(uncertainty / np.sqrt(count), rel=1e-9, abs=1e-12)


def test_a_column_for_each_result_is_as_good_as_one_call_for_each() -> None:
    columns = np.array([[0.03, 0.10], [0.04, 0.20]])
    together = combined_standard_uncertainty(sensitivities=[1.0, 1.0], standard_uncertainties=columns)
    apart = [
        float(combined_standard_uncertainty(sensitivities=[1.0, 1.0], standard_uncertainties=column))
        for column in columns.T
    ]
    assert together.tolist() == pytest.approx(apart)


@given(uncertainty=UNCERTAINTIES, coverage=st.floats(0.5, 5.0))
def test_expanding_multiplies(uncertainty: float, coverage: float) -> None:
    expanded = expanded_uncertainty(standard_uncertainty=[uncertainty, 0.0], coverage_factor=coverage)
    assert expanded.tolist() == [uncertainty * coverage, 0.0]


def test_unpaired_inputs_are_refused() -> None:
    for weights in ([1.0], 1.0, [[1.0, 1.0]]):
        with pytest.raises(UnpairedReadingsError):
            combined_standard_uncertainty(sensitivities=weights, standard_uncertainties=[0.1, 0.1])
    with pytest.raises(UnpairedReadingsError):
        combined_with_common_uncertainty(
            sensitivities=[1.0], own_uncertainties=[0.1, 0.1], common_uncertainties=[0.1, 0.1]
        )
    for own, common in (([0.1, 0.1], [0.1]), ([0.1], [0.1, 0.1])):
        with pytest.raises(UnpairedReadingsError):
            combined_with_common_uncertainty(
                sensitivities=[1.0, 1.0], own_uncertainties=own, common_uncertainties=common
            )
    with pytest.raises(UnpairedReadingsError):
        expanded_uncertainty(standard_uncertainty=[0.1, 0.1], coverage_factor=[2.0, 2.0, 2.0])


@pytest.mark.parametrize(("bad", "error"), [(np.nan, NonFiniteReadingError), (-0.001, OutOfRangeError)])
def test_an_uncertainty_that_is_no_number_or_below_zero_is_refused(bad: float, error: type[Exception]) -> None:
    with pytest.raises(error):
        combined_standard_uncertainty(sensitivities=[1.0], standard_uncertainties=[bad])
    for own, common in ((bad, 0.1), (0.1, bad)):
        with pytest.raises(error):
            combined_with_common_uncertainty(
                sensitivities=[1.0], own_uncertainties=[own], common_uncertainties=[common]
            )
    with pytest.raises(error):
        expanded_uncertainty(standard_uncertainty=bad, coverage_factor=2.0)


def test_a_coverage_factor_of_nothing_is_refused() -> None:
    with pytest.raises(OutOfRangeError):
        expanded_uncertainty(standard_uncertainty=0.1, coverage_factor=0.0)
