"""Reading arguments as arrays, and the claims every formula asks of them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def as_floats(values: ArrayLike) -> NDArray[np.float64]:
    """Return values as a float64 array."""
    return np.asarray(values, dtype=np.float64)


def are_finite(*arrays: NDArray[np.float64]) -> bool:
    """Tell whether no value is NaN or infinite."""
    return all(bool(np.isfinite(array).all()) for array in arrays)


def fit_together(*arrays: NDArray[np.float64]) -> bool:
    """Tell whether the arrays have one shape, scalars aside."""
    return len({array.shape for array in arrays if array.ndim}) <= 1


def are_above_zero(*arrays: NDArray[np.float64]) -> bool:
    """Tell whether every value is above 0."""
    return all(bool((array > 0).all()) for array in arrays)


def are_at_least_zero(*arrays: NDArray[np.float64]) -> bool:
    """Tell whether no value is below 0."""
    return all(bool((array >= 0).all()) for array in arrays)
