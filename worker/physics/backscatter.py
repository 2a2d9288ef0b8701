"""What glass itself sends back: Rayleigh backscatter of a length, and of one without end."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_at_least_zero, are_finite, as_floats, fit_together
from worker.physics.constants import NEPERS_PER_DB, SPEED_OF_LIGHT_M_PER_S
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

# [s] The pulse that backscatter coefficients are stated for, by custom.
_CUSTOMARY_PULSE_S = 1e-9


def backscattered_share_per_m(*, backscatter_coefficient_db: ArrayLike, group_index: ArrayLike) -> NDArray[np.float64]:
    r"""Return which share of the light a metre of fibre sends back, per metre.

    Parameters
    ----------
    backscatter_coefficient_db : array_like, shape (n,) or scalar
        Backscatter coefficient for a pulse of 1 ns, below 0. [dB]
    group_index : array_like, shape (n,) or scalar
        Group index of the fibre, at least 1. [unitless]

    Returns
    -------
    ndarray of float64, shape (n,)
        Share of the power that comes back for each metre passed. [1/m]

    Raises
    ------
    UnpairedReadingsError
        If the two shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a coefficient is not below 0 or an index below 1.

    Notes
    -----
    .. math:: b = \frac{10^{K/10}}{\Delta z}, \qquad \Delta z = \frac{c \cdot 1\,\mathrm{ns}}{2\,n_g}

    What comes back at one moment from a pulse left half the pulse's length of fibre.

    References
    ----------
    .. [1] Common practice of time-domain reflectometry (from memory); no single published source.

    Examples
    --------
    >>> float(backscattered_share_per_m(backscatter_coefficient_db=-79.0, group_index=1.468).round(10))
    1.233e-07
    """
    coefficient, index = as_floats(backscatter_coefficient_db), as_floats(group_index)
    if not fit_together(coefficient, index):
        raise UnpairedReadingsError(f"{coefficient.shape} coefficients against {index.shape} indices")
    if not are_finite(coefficient, index):
        raise NonFiniteReadingError("every coefficient and index must be a finite number")
    if not are_above_zero(-coefficient) or not are_at_least_zero(index - 1):
        raise OutOfRangeError("a backscatter coefficient is below 0 dB, an index at least 1")
    return as_floats(10 ** (coefficient / 10) / (SPEED_OF_LIGHT_M_PER_S * _CUSTOMARY_PULSE_S / (2 * index)))


def section_backscatter_db(
    *,
    length_km: ArrayLike,
    attenuation_db_per_km: ArrayLike,
    backscatter_coefficient_db: ArrayLike,
    group_index: ArrayLike,
    loss_before_db: ArrayLike,
) -> NDArray[np.float64]:
    r"""Return what a length of fibre behind a loss sends back, against the light launched, in dB.

    Parameters
    ----------
    length_km : array_like, shape (n,) or scalar
        Length of the fibre, above 0. [km]
    attenuation_db_per_km : array_like, shape (n,) or scalar
        Attenuation coefficient of the fibre, at least 0. [dB/km]
    backscatter_coefficient_db : array_like, shape (n,) or scalar
        Backscatter coefficient for a pulse of 1 ns, below 0. [dB]
    group_index : array_like, shape (n,) or scalar
        Group index of the fibre, at least 1. [unitless]
    loss_before_db : array_like, shape (n,) or scalar
        One-way loss of all that lies before the length. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Power that comes back over power launched; with its sign changed, a return loss. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a length is not above 0 or an attenuation below 0.

    Notes
    -----
    .. math:: P = 10^{-2A/10}\;\frac{b}{2\alpha}\,\left(1 - e^{-2\alpha\ell}\right)

    with the attenuation in nepers of power per metre. Written with the mean of the round trip, so that a fibre without
    attenuation needs no other formula, in decibels, so that no short length underflows. Light scattered twice is left
    out.

    References
    ----------
    .. [1] Common practice of time-domain reflectometry (from memory); no single published source.

    Examples
    --------
    >>> section_backscatter_db(
    ...     length_km=[1.0, 10.0], attenuation_db_per_km=0.35, backscatter_coefficient_db=-79.0, group_index=1.468,
    ...     loss_before_db=0.0
    ... ).round(1)
    array([-39.4, -32.1])
    """
    length, attenuation = as_floats(length_km), as_floats(attenuation_db_per_km)
    coefficient, index = as_floats(backscatter_coefficient_db), as_floats(group_index)
    before = as_floats(loss_before_db)
    if not fit_together(length, attenuation, coefficient, index, before):
        raise UnpairedReadingsError("the arguments of a length of fibre must have one shape")
    if not are_finite(length, attenuation, before):
        raise NonFiniteReadingError("every argument must be a finite number")
    if not are_above_zero(length) or not are_at_least_zero(attenuation):
        raise OutOfRangeError("a length is above 0 km, an attenuation at least 0 dB/km")
    share = backscattered_share_per_m(backscatter_coefficient_db=coefficient, group_index=index)
    round_trip = 2 * NEPERS_PER_DB * attenuation * length
    returned_db = 10 * (np.log10(share * 1000) + np.log10(length) + np.log10(_mean_of_decay(round_trip)))
    return as_floats(returned_db - 2 * before)


def _mean_of_decay(exponent: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean of exp(-x) from 0 to the exponent: 1 where nothing decays."""
    nonzero = np.where(exponent > 0, exponent, 1.0)
    return np.where(exponent > 0, -np.expm1(-nonzero) / nonzero, 1.0)
