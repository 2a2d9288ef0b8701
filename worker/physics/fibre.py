"""Where on a fibre something lies, from the time its light took."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_finite, as_floats
from worker.physics.constants import SPEED_OF_LIGHT_M_PER_S
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError


def distance_from_time_m(*, round_trip_us: ArrayLike, group_index: ArrayLike) -> NDArray[np.float64]:
    r"""Return the distance that light goes and comes back over in a time, in metres of fibre.

    Parameters
    ----------
    round_trip_us : array_like, shape (n,)
        Time from leaving the instrument to coming back, at least 0. [us]
    group_index : array_like, shape (n,) or scalar
        Group index of the fibre at the wavelength used, at least 1. [unitless]

    Returns
    -------
    ndarray of float64, shape (n,)
        Distance along the fibre, one way. [m]

    Raises
    ------
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a time is below 0 or an index below 1.

    Notes
    -----
    .. math:: \ell = \frac{c\,t}{2\,n_g}

    With a pulse's width for the time it is the length over which that pulse lets two events merge.

    References
    ----------
    .. [1] Common practice of time-domain reflectometry; no single published source.

    Examples
    --------
    >>> distance_from_time_m(round_trip_us=[10.0], group_index=1.468).round(1)
    array([1021.1])
    """
    time, index = as_floats(round_trip_us), as_floats(group_index)
    if not are_finite(time, index):
        raise NonFiniteReadingError("every time and index must be a finite number")
    if (time < 0).any() or (index < 1).any():
        raise OutOfRangeError("a time is at least 0 us, an index at least 1")
    return as_floats(SPEED_OF_LIGHT_M_PER_S * time * 1e-6 / (2 * index))
