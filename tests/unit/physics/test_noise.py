"""Noise in a trace: scaled with pulse and averaging, and held against points drawn with noise."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.noise import dynamic_range_db, step_noise_db

STATED: dict[str, float] = {
    "stated_range_db": 40.0,
    "stated_pulse_ns": 10_000.0,
    "stated_averaging_s": 180.0,
    "pulse_ns": 10_000.0,
    "averaging_s": 180.0,
}


@pytest.mark.parametrize(
    ("changed", "range_db"),
    [
        ({}, 40.0),
        # A tenth of the pulse: a tenth of the light, 5 dB of a one-way trace. A hundredth of the averages: ten times
        # the noise, 5 dB too.
        ({"pulse_ns": 1000.0}, 35.0),
        ({"averaging_s": 1.8}, 35.0),
        ({"pulse_ns": 100_000.0, "averaging_s": 1.8}, 40.0),
    ],
)
def test_a_range_shrinks_with_pulse_and_averaging(changed: dict[str, float], range_db: float) -> None:
    assert float(dynamic_range_db(**{**STATED, **changed})) == pytest.approx(range_db, abs=1e-9)


@pytest.mark.parametrize("above_noise_db", [8.0, 12.0])
def test_it_is_more_than_a_step_between_two_points_as_drawn_and_two_deviations_of_fitted_ones(
    above_noise_db: float,
) -> None:
    source = np.random.default_rng(20261130)
    # Power 1, noise 10^(-S/5) of it by the meaning of a dynamic range on a scale of 5 log; two levels, one step.
    levels = 5 * np.log10(1 + 10 ** (-above_noise_db / 5) * source.standard_normal((2, 400_000)))
    drawn_db = float(np.std(levels[1] - levels[0]))
    noise_db = float(step_noise_db(above_noise_db=above_noise_db))
    assert noise_db == pytest.approx(1.3 * drawn_db, rel=0.01)
    # Fitting lines to either side leaves a third of it, common practice, no source.
    assert noise_db > 2 * drawn_db / 3


@given(above_noise_db=st.floats(-60, 80), less_db=st.floats(0.1, 20))
def test_noise_grows_tenfold_for_five_decibels(above_noise_db: float, less_db: float) -> None:
    near, far = step_noise_db(above_noise_db=[above_noise_db, above_noise_db - less_db])
    assert np.log10(far / near) == pytest.approx(less_db / 5)


@pytest.mark.parametrize(
    ("function", "arguments"), [(dynamic_range_db, STATED), (step_noise_db, {"above_noise_db": 9.0})]
)
def test_non_finite_arguments_are_refused(function: Callable[..., Any], arguments: dict[str, float]) -> None:
    assert np.isfinite(function(**arguments))
    for bad in arguments:
        for value in (np.nan, np.inf):
            with pytest.raises(NonFiniteReadingError):
                function(**{**arguments, bad: value})


def test_unpaired_shapes_and_pulses_or_averaging_of_nothing_are_refused() -> None:
    with pytest.raises(UnpairedReadingsError):
        dynamic_range_db(**{**STATED, "pulse_ns": [10.0, 20.0], "averaging_s": [1.0, 2.0, 3.0]})  # type: ignore[arg-type]
    for bad in ("stated_pulse_ns", "stated_averaging_s", "pulse_ns", "averaging_s"):
        with pytest.raises(OutOfRangeError):
            dynamic_range_db(**{**STATED, bad: 0.0})
