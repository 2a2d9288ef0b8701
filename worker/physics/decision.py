"""What a reading with its uncertainty says of an upper limit: how likely it is kept, and what a rule decides."""

import math
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_at_least_zero, are_finite, as_floats, exceed, fit_together
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

# numpy has no error function; one call for each reading still decides a whole route in a blink.
_complementary_error = np.frompyfunc(math.erfc, 1, 1)


class FourWay(IntEnum):
    """What the guarded rule of four answers decides, from best to worst."""

    PASS = 0
    CONDITIONAL_PASS = 1
    CONDITIONAL_FAIL = 2
    FAIL = 3


def conformity_probability(
    *, value: ArrayLike, upper_limit: ArrayLike, standard_uncertainty: ArrayLike
) -> NDArray[np.float64]:
    r"""Return how likely it is that an item keeps its upper limit, given its reading.

    Parameters
    ----------
    value : array_like, shape (n,) or scalar
        Reading. [unit of the quantity]
    upper_limit : array_like, shape (n,) or scalar
        Greatest value that conforms. [unit of the quantity]
    standard_uncertainty : array_like, shape (n,) or scalar
        Standard uncertainty of the reading, not expanded, above 0. [unit of the quantity]

    Returns
    -------
    ndarray of float64, shape (n,)
        Probability, from 0 to 1. [unitless]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an uncertainty is not above 0.

    Notes
    -----
    .. math:: p = \Phi\left(\frac{T - y}{u}\right)

    Normal, with nothing known of the item before the reading. For a lower limit change the signs of value and limit.

    References
    ----------
    .. [1] JCGM 106:2012, probability that an item conforms to one upper limit (from memory).

    Examples
    --------
    >>> conformity_probability(value=[-5.47], upper_limit=-5.40, standard_uncertainty=0.05).round(2)
    array([0.92])
    """
    reading, limit, deviation = as_floats(value), as_floats(upper_limit), as_floats(standard_uncertainty)
    if not fit_together(reading, limit, deviation):
        raise UnpairedReadingsError("values, limits and uncertainties must have one shape")
    if not are_finite(reading, limit, deviation):
        raise NonFiniteReadingError("every value, limit and uncertainty must be a finite number")
    if not are_above_zero(deviation):
        raise OutOfRangeError("every standard uncertainty must be above 0")
    return _normal_cumulative((limit - reading) / deviation)


def passes_simple(*, value: ArrayLike, upper_limit: ArrayLike) -> NDArray[np.bool_]:
    """Return which readings keep their upper limit by the simple rule.

    Parameters
    ----------
    value : array_like, shape (n,) or scalar
        Reading. [unit of the quantity]
    upper_limit : array_like, shape (n,) or scalar
        Greatest value that conforms. [unit of the quantity]

    Returns
    -------
    ndarray of bool, shape (n,)
        Whether a reading is at or below its limit.

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.

    Notes
    -----
    Uncertainty is shared between the parties: an item on the limit has an even chance. What floats add to a value on
    its limit is forgiven, up to 1e-9; exact verdicts are taken on integers elsewhere.

    References
    ----------
    .. [1] ILAC-G8:09/2019, 4.2, simple acceptance.

    Examples
    --------
    >>> passes_simple(value=[0.1, 0.101, (0.1 + 0.2 + 0.3) / 6], upper_limit=0.1)
    array([ True, False,  True])
    """
    reading, limit = as_floats(value), as_floats(upper_limit)
    if not fit_together(reading, limit):
        raise UnpairedReadingsError(f"{reading.shape} values against {limit.shape} limits")
    if not are_finite(reading, limit):
        raise NonFiniteReadingError("every value and limit must be a finite number")
    return ~exceed(reading, limit)


def passes_guarded(
    *, value: ArrayLike, upper_limit: ArrayLike, expanded_uncertainty: ArrayLike, guard_factor: float
) -> NDArray[np.bool_]:
    r"""Return which readings keep their upper limit less a guard band.

    Parameters
    ----------
    value : array_like, shape (n,) or scalar
        Reading. [unit of the quantity]
    upper_limit : array_like, shape (n,) or scalar
        Greatest value that conforms. [unit of the quantity]
    expanded_uncertainty : array_like, shape (n,) or scalar
        Expanded uncertainty of the reading, at least 0. [unit of the quantity]
    guard_factor : float
        Guard band as a multiple of the expanded uncertainty, at least 0; 1 by custom. [unitless]

    Returns
    -------
    ndarray of bool, shape (n,)
        Whether a reading is at or below its limit less the guard band.

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an uncertainty or the factor is below 0.

    Notes
    -----
    .. math:: y \le T - w, \qquad w = g\,U

    References
    ----------
    .. [1] ILAC-G8:09/2019, 4.2, binary statement with guard band.

    Examples
    --------
    >>> passes_guarded(value=[0.05, 0.06, 0.07], upper_limit=0.10, expanded_uncertainty=0.04, guard_factor=1.0)
    array([ True,  True, False])
    """
    reading, limit, expanded = as_floats(value), as_floats(upper_limit), as_floats(expanded_uncertainty)
    if not fit_together(reading, limit, expanded):
        raise UnpairedReadingsError("values, limits and uncertainties must have one shape")
    if not are_finite(reading, limit, expanded, as_floats(guard_factor)):
        raise NonFiniteReadingError("every value, limit, uncertainty and factor must be a finite number")
    if not are_at_least_zero(expanded, as_floats(guard_factor)):
        raise OutOfRangeError("an uncertainty and a guard factor are at least 0")
    return ~exceed(reading, limit - guard_factor * expanded)


def decide_four_way(
    *, value: ArrayLike, upper_limit: ArrayLike, expanded_uncertainty: ArrayLike, guard_factor: float
) -> NDArray[np.int8]:
    r"""Return what the guarded rule of four answers decides of each reading.

    Parameters
    ----------
    value : array_like, shape (n,) or scalar
        Reading. [unit of the quantity]
    upper_limit : array_like, shape (n,) or scalar
        Greatest value that conforms. [unit of the quantity]
    expanded_uncertainty : array_like, shape (n,) or scalar
        Expanded uncertainty of the reading, at least 0. [unit of the quantity]
    guard_factor : float
        Guard band as a multiple of the expanded uncertainty, at least 0; 1 by custom. [unitless]

    Returns
    -------
    ndarray of int8, shape (n,)
        Values of `FourWay`: pass, conditional pass, conditional fail, fail. [unitless]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an uncertainty or the factor is below 0.

    Notes
    -----
    Pass up to T - w, conditional pass up to T, conditional fail up to T + w, fail beyond, each bound included.

    References
    ----------
    .. [1] ILAC-G8:09/2019, 4.2, non-binary statement with guard band.

    Examples
    --------
    >>> decide_four_way(
    ...     value=[0.05, 0.07, 0.12, 0.15], upper_limit=0.10, expanded_uncertainty=0.04, guard_factor=1.0
    ... )
    array([0, 1, 2, 3], dtype=int8)
    """
    reading, limit, expanded = as_floats(value), as_floats(upper_limit), as_floats(expanded_uncertainty)
    if not fit_together(reading, limit, expanded):
        raise UnpairedReadingsError("values, limits and uncertainties must have one shape")
    if not are_finite(reading, limit, expanded, as_floats(guard_factor)):
        raise NonFiniteReadingError("every value, limit, uncertainty and factor must be a finite number")
    if not are_at_least_zero(expanded, as_floats(guard_factor)):
        raise OutOfRangeError("an uncertainty and a guard factor are at least 0")
    band = guard_factor * expanded
    passed = [exceed(reading, bound).astype(np.int8) for bound in (limit - band, limit, limit + band)]
    return np.asarray(passed[0] + passed[1] + passed[2], dtype=np.int8)


def false_acceptance_probability(*, guard_factor: ArrayLike, coverage_factor: ArrayLike) -> NDArray[np.float64]:
    r"""Return how likely a guard band at most lets an item pass that does not conform.

    Parameters
    ----------
    guard_factor : array_like, shape (n,) or scalar
        Guard band as a multiple of the expanded uncertainty, at least 0. [unitless]
    coverage_factor : array_like, shape (n,) or scalar
        Expanded over standard uncertainty, above 0. [unitless]

    Returns
    -------
    ndarray of float64, shape (n,)
        Probability, at most one half. [unitless]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a guard factor is below 0 or a coverage factor not above 0.

    Notes
    -----
    .. math:: p = \Phi(-g\,k)

    The worst case: an item at the limit that reads at or below the guard band's edge; by symmetry also a reading on
    that edge whose item is beyond the limit. Without a guard band, one half.

    References
    ----------
    .. [1] ILAC-G8:09/2019, 4.2: below 2.5 % for a band of U, below 5 % for 0.83 U.

    Examples
    --------
    >>> false_acceptance_probability(guard_factor=[0.0, 0.83, 1.0], coverage_factor=2.0).round(4)
    array([0.5   , 0.0485, 0.0228])
    """
    guard, coverage = as_floats(guard_factor), as_floats(coverage_factor)
    if not fit_together(guard, coverage):
        raise UnpairedReadingsError(f"{guard.shape} guard factors against {coverage.shape} coverage factors")
    if not are_finite(guard, coverage):
        raise NonFiniteReadingError("every factor must be a finite number")
    if not are_at_least_zero(guard) or not are_above_zero(coverage):
        raise OutOfRangeError("a guard factor is at least 0, a coverage factor above 0")
    return _normal_cumulative(-guard * coverage)


def _normal_cumulative(deviations: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the cumulative standard normal distribution, exact far out on both sides."""
    return as_floats(_complementary_error(-deviations / math.sqrt(2))) / 2
