"""Random numbers that are the same on every machine.

Only uniform draws of PCG64 with + - * / behind them: the normal draws of a library take logarithms and may change
between its versions.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_UNIFORMS = 12


def start(*seeds: int) -> np.random.Generator:
    """Return a source of draws; another last seed gives draws that have nothing to do with these."""
    return np.random.Generator(np.random.PCG64(seeds))


def draw_between(source: np.random.Generator, shape: tuple[int, ...], *, low: float, high: float) -> Floats:
    """Draw evenly between two bounds."""
    return low + (high - low) * source.random(shape)


def draw_around(source: np.random.Generator, shape: tuple[int, ...], *, centre: float, deviation: float) -> Floats:
    """Draw nearly normally: twelve uniform draws have a variance of one, and never stray beyond six deviations."""
    total = np.zeros(shape)
    for _ in range(_UNIFORMS):
        total += source.random(shape)
    return centre + deviation * (total - _UNIFORMS / 2)


def rounded(values: Floats, places: int) -> Floats:
    """Round to a last decimal place, without a negative zero."""
    return np.round(values, places) + 0.0
