"""Reading arguments as arrays."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def as_floats(values: ArrayLike) -> NDArray[np.float64]:
    """Return values as a float64 array."""
    return np.asarray(values, dtype=np.float64)


def are_finite(*arrays: NDArray[np.float64]) -> bool:
    """Tell whether no value is NaN or infinite."""
    return all(bool(np.isfinite(array).all()) for array in arrays)
