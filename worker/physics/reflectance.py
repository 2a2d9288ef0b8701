"""What one place sends back: a flat end of glass, and an event seen over the backscatter."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_at_least_zero, are_finite, as_floats, fit_together
from worker.physics.constants import NEPERS_PER_DB
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError


def flat_end_reflectance_db(*, refractive_index: ArrayLike) -> NDArray[np.float64]:
    r"""Return the reflectance of a clean flat end of glass in air, in dB.

    Parameters
    ----------
    refractive_index : array_like, shape (n,) or scalar
        Refractive index of the glass, above 1; not the group index. [unitless]

    Returns
    -------
    ndarray of float64, shape (n,)
        Reflectance, below 0. [dB]

    Raises
    ------
    NonFiniteReadingError
        If an index is NaN or infinite.
    OutOfRangeError
        If an index is not above 1.

    Notes
    -----
    .. math:: R = 10\,\log_{10}\left(\frac{n - 1}{n + 1}\right)^2

    Light that falls straight on the end. An end broken at an angle, dirty or wet reflects less.

    References
    ----------
    .. [1] Fresnel's equation at normal incidence, as in J. M. Senior, "Optical Fiber Communications" (from memory).

    Examples
    --------
    >>> flat_end_reflectance_db(refractive_index=[1.45, 1.5]).round(2)
    array([-14.72, -13.98])
    """
    index = as_floats(refractive_index)
    if not are_finite(index):
        raise NonFiniteReadingError("every index must be a finite number")
    if not are_above_zero(index - 1):
        raise OutOfRangeError("glass has an index above 1")
    return as_floats(20 * np.log10((index - 1) / (index + 1)))


def reflected_share(*, reflectance_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return which share of the light a place with a reflectance sends back.

    Parameters
    ----------
    reflectance_db : array_like, shape (n,) or scalar
        Reflectance, at most 0. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Share of the power that comes back, at most 1. [unitless]

    Raises
    ------
    NonFiniteReadingError
        If a reflectance is NaN or infinite.
    OutOfRangeError
        If a reflectance is above 0.

    Notes
    -----
    .. math:: r = 10^{R/10}

    References
    ----------
    .. [1] IEC 61300-3-6: the reflectance of one place is negative, more negative is better.

    Examples
    --------
    >>> reflected_share(reflectance_db=[0.0, -20.0])
    array([1.  , 0.01])
    """
    reflectance = as_floats(reflectance_db)
    if not are_finite(reflectance):
        raise NonFiniteReadingError("every reflectance must be a finite number")
    if not are_at_least_zero(-reflectance):
        raise OutOfRangeError("a reflectance is at most 0 dB")
    return as_floats(10 ** (reflectance / 10))


def event_reflectance_db(
    *, height_db: ArrayLike, backscatter_coefficient_db: ArrayLike, pulse_ns: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the reflectance of an event from its height over the backscatter before it, in dB.

    Parameters
    ----------
    height_db : array_like, shape (n,) or scalar
        Height of the peak over the backscatter just before it, as the trace shows it, above 0. [dB]
    backscatter_coefficient_db : array_like, shape (n,) or scalar
        Backscatter coefficient of the fibre before the event, for a pulse of 1 ns, below 0. [dB]
    pulse_ns : array_like, shape (n,) or scalar
        Pulse width, above 0. [ns]

    Returns
    -------
    ndarray of float64, shape (n,)
        Reflectance. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a height or a pulse is not above 0.

    Notes
    -----
    .. math:: R = K + 10\,\log_{10}\left[\left(10^{H/5} - 1\right) D\right]

    The backscatter grows with the pulse that makes it, for pulses short against the length over which the fibre loses
    noticeably. The power of ten is split off in decibels, so that no height overflows. A peak that is cut off gives a
    bound only: the event reflects at least this.

    References
    ----------
    .. [1] Common practice of time-domain reflectometry (from memory); no single published source.

    Examples
    --------
    >>> event_reflectance_db(height_db=[20.0], backscatter_coefficient_db=-79.0, pulse_ns=10.0).round(1)
    array([-29.])
    """
    height, coefficient = as_floats(height_db), as_floats(backscatter_coefficient_db)
    pulse = as_floats(pulse_ns)
    if not fit_together(height, coefficient, pulse):
        raise UnpairedReadingsError("heights, coefficients and pulses must have one shape")
    if not are_finite(height, coefficient, pulse):
        raise NonFiniteReadingError("every height, coefficient and pulse must be a finite number")
    if not are_above_zero(height, pulse):
        raise OutOfRangeError("a reflection stands higher than 0 dB over the backscatter of a pulse above 0 ns")
    over_backscatter_db = 2 * height + 10 * np.log10(-np.expm1(-2 * NEPERS_PER_DB * height))
    return as_floats(coefficient + 10 * np.log10(pulse) + over_backscatter_db)
