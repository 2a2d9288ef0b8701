"""Standard uncertainties put together: independent ones, and those that one cause shares out to several readings."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_at_least_zero, are_finite, as_floats, fit_together
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError


def combined_standard_uncertainty(
    *, sensitivities: ArrayLike, standard_uncertainties: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the standard uncertainty of a result whose inputs are independent.

    Parameters
    ----------
    sensitivities : array_like, shape (m,)
        By how much the result moves for each input's move by one, signed. [unit of the result per unit of the input]
    standard_uncertainties : array_like, shape (m,) or (m, n)
        Standard uncertainty of each input, at least 0; one column per result. [unit of the input]

    Returns
    -------
    ndarray of float64, scalar or shape (n,)
        Combined standard uncertainty, at least 0. [unit of the result]

    Raises
    ------
    UnpairedReadingsError
        If there is not one sensitivity for each input.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an uncertainty is below 0.

    Notes
    -----
    .. math:: u_c = \sqrt{\sum_i c_i^2\,u_i^2}

    Inputs independent; for a cause that several share see `combined_with_common_uncertainty`.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, eq. (10).

    Examples
    --------
    The mean of two directions that each read to 0.03 dB and share nothing:

    >>> float(combined_standard_uncertainty(sensitivities=[0.5, 0.5], standard_uncertainties=[0.03, 0.03]).round(4))
    0.0212
    """
    weights, inputs = as_floats(sensitivities), as_floats(standard_uncertainties)
    if weights.ndim != 1 or weights.shape != inputs.shape[:1]:
        raise UnpairedReadingsError(f"{weights.shape} sensitivities against {inputs.shape} uncertainties")
    if not are_finite(weights, inputs):
        raise NonFiniteReadingError("every sensitivity and uncertainty must be a finite number")
    if not are_at_least_zero(inputs):
        raise OutOfRangeError("a standard uncertainty is at least 0")
    return as_floats(np.sqrt(np.tensordot(weights**2, inputs**2, axes=1)))


def combined_with_common_uncertainty(
    *, sensitivities: ArrayLike, own_uncertainties: ArrayLike, common_uncertainties: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the standard uncertainty of a result whose inputs share one cause of error.

    Parameters
    ----------
    sensitivities : array_like, shape (m,)
        By how much the result moves for each input's move by one, signed. [unit of the result per unit of the input]
    own_uncertainties : array_like, shape (m,) or (m, n)
        What each input has to itself, at least 0; one column per result. [unit of the input]
    common_uncertainties : array_like, shape (m,) or (m, n)
        What the shared cord, instrument or index brings to each input, at least 0, shaped as the former; 0 where an
        input does without. [unit of the input]

    Returns
    -------
    ndarray of float64, scalar or shape (n,)
        Combined standard uncertainty, at least 0. [unit of the result]

    Raises
    ------
    UnpairedReadingsError
        If there is not one sensitivity and one of each uncertainty for each input.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an uncertainty is below 0.

    Notes
    -----
    .. math:: u_c^2 = \sum_i c_i^2\,u_i^2 + \Big(\sum_i c_i\,s_i\Big)^2

    The common parts are fully correlated and add with their signs: a mean keeps them whole, a difference loses them.
    Several causes: one call for each with no own part, put together by `combined_standard_uncertainty`.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.2, its note on inputs that are all correlated by +1 (from memory).

    Examples
    --------
    Mean and half difference of two readings through one cord:

    >>> float(combined_with_common_uncertainty(
    ...     sensitivities=[0.5, 0.5], own_uncertainties=[0.0, 0.0], common_uncertainties=[0.1, 0.1]
    ... ))
    0.1
    >>> float(combined_with_common_uncertainty(
    ...     sensitivities=[0.5, -0.5], own_uncertainties=[0.0, 0.0], common_uncertainties=[0.1, 0.1]
    ... ))
    0.0
    """
    weights, own, common = as_floats(sensitivities), as_floats(own_uncertainties), as_floats(common_uncertainties)
    if weights.ndim != 1 or weights.shape != own.shape[:1] or own.shape != common.shape:
        raise UnpairedReadingsError(f"{weights.shape} sensitivities against {own.shape} own, {common.shape} common")
    if not are_finite(weights, own, common):
        raise NonFiniteReadingError("every sensitivity and uncertainty must be a finite number")
    if not are_at_least_zero(own, common):
        raise OutOfRangeError("a standard uncertainty is at least 0")
    independent = np.tensordot(weights**2, own**2, axes=1)
    return as_floats(np.sqrt(independent + np.tensordot(weights, common, axes=1) ** 2))


def expanded_uncertainty(*, standard_uncertainty: ArrayLike, coverage_factor: ArrayLike) -> NDArray[np.float64]:
    r"""Return the uncertainty expanded by a coverage factor.

    Parameters
    ----------
    standard_uncertainty : array_like, shape (n,) or scalar
        Standard uncertainty, at least 0. [unit of the quantity]
    coverage_factor : array_like, shape (n,) or scalar
        Coverage factor, above 0; 2 covers about 95 % of a normal distribution. [unitless]

    Returns
    -------
    ndarray of float64, shape (n,)
        Expanded uncertainty, at least 0. [unit of the quantity]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an uncertainty is below 0 or a factor not above 0.

    Notes
    -----
    .. math:: U = k\,u_c

    References
    ----------
    .. [1] JCGM 100:2008, 6.2.1 (from memory).

    Examples
    --------
    >>> expanded_uncertainty(standard_uncertainty=[0.02], coverage_factor=2.0)
    array([0.04])
    """
    deviation, factor = as_floats(standard_uncertainty), as_floats(coverage_factor)
    if not fit_together(deviation, factor):
        raise UnpairedReadingsError(f"{deviation.shape} uncertainties against {factor.shape} factors")
    if not are_finite(deviation, factor):
        raise NonFiniteReadingError("every uncertainty and factor must be a finite number")
    if not are_at_least_zero(deviation) or not are_above_zero(factor):
        raise OutOfRangeError("an uncertainty is at least 0, a coverage factor above 0")
    return as_floats(factor * deviation)
