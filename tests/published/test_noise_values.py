"""Noise of a trace against what documents say of it, all from memory of them."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import pytest

from tests.published.check_values import Provenance, source_of
from worker.physics.noise import step_noise_db

# What the judge reckons with is 1.3 deviations of a step between two points.
_OF_A_POINT = 1 / (1.3 * np.sqrt(2))


@dataclass(frozen=True, kw_only=True)
class NoiseCheck(Provenance):
    """How far above the noise a trace has to stand for its points to be no noisier than so much."""

    noise_db: float
    above_noise_db: float


NOISE = NoiseCheck(
    noise_db=0.1,
    above_noise_db=6.6,
    tolerance=0.1,
    source="IEC 61746, dynamic range to 0.1 dB of noise: 6.6 dB less than to SNR = 1",
    mark="from memory",
)


@dataclass(frozen=True, kw_only=True)
class UncertaintyCheck(Provenance):
    """A ratio of signal to noise in one-way dB, and the uncertainty of a loss there."""

    above_noise_db: float
    uncertainty_db: float


# A problem asks what it takes to measure a splice to 0.05 dB: 9.5 dB above the noise by this.
KEISER = "G. Keiser, Optical Fiber Communications, chapter on measurements, log10 U = 0.6 - 0.2 SNR"
UNCERTAINTIES = [
    UncertaintyCheck(above_noise_db=9.505, uncertainty_db=0.05, tolerance=0.0001, source=KEISER, mark="from memory"),
    UncertaintyCheck(above_noise_db=13.0, uncertainty_db=0.01, tolerance=0.0001, source=KEISER, mark="from memory"),
]


def test_a_point_is_as_noisy_as_the_standard_says() -> None:
    above_db = np.linspace(0, 20, 2001)
    points_db = step_noise_db(above_noise_db=above_db) * _OF_A_POINT
    reached = float(above_db[np.argmax(points_db <= NOISE.noise_db)])
    assert reached == pytest.approx(NOISE.above_noise_db, abs=NOISE.tolerance)


@pytest.mark.parametrize("check", UNCERTAINTIES, ids=source_of)
def test_a_loss_is_as_uncertain_as_the_book_says(check: UncertaintyCheck) -> None:
    uncertainty_db = float(step_noise_db(above_noise_db=check.above_noise_db))
    assert uncertainty_db == pytest.approx(check.uncertainty_db, abs=check.tolerance)


def test_a_range_to_98_percent_of_the_noise_is_so_much_less_than_one_to_its_deviation() -> None:
    # As the API's document says of `dynamic_range`: 98 of 100 normal values lie below 2.054 deviations [C].
    assert 5 * np.log10(NormalDist().inv_cdf(0.98)) == pytest.approx(1.56, abs=0.005)
