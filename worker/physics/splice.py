"""Loss of a fusion splice: what two directions show, and what mode fields and offset explain."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_at_least_zero, are_finite, as_floats, fit_together
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError


def mean_bidirectional_loss_db(*, loss_a_to_b_db: ArrayLike, loss_b_to_a_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return the loss of each splice averaged over both directions, in dB.

    Parameters
    ----------
    loss_a_to_b_db : array_like, shape (n,)
        Signed one-way loss seen from end A; an apparent gain is negative. [dB]
    loss_b_to_a_db : array_like, shape (n,)
        The same splices in the same order, seen from end B. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Splice loss without the part that depends on direction. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the two shapes differ.
    NonFiniteReadingError
        If any reading is NaN or infinite.

    Notes
    -----
    .. math:: L_i = \tfrac{1}{2}\,(L_{i,\mathrm{AB}} + L_{i,\mathrm{BA}})

    The mean is taken in decibels, not in power ratio: the part that depends on direction has opposite sign in the two
    readings, and cancels only there. Valid for readings at one wavelength; the caller checks.

    References
    ----------
    .. [1] Common practice of bidirectional testing; no single published source.

    Examples
    --------
    >>> mean_bidirectional_loss_db(loss_a_to_b_db=[0.20], loss_b_to_a_db=[0.10]).round(6)
    array([0.15])
    """
    forward, backward = as_floats(loss_a_to_b_db), as_floats(loss_b_to_a_db)
    if forward.shape != backward.shape:
        raise UnpairedReadingsError(f"{forward.shape} readings against {backward.shape}")
    if not are_finite(forward, backward):
        raise NonFiniteReadingError("every one-way loss must be a finite number")
    return as_floats((forward + backward) / 2)


def one_way_offset_db(*, loss_a_to_b_db: ArrayLike, loss_b_to_a_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return by how much each one-way reading from A is above the splice's loss, in dB.

    Parameters
    ----------
    loss_a_to_b_db : array_like, shape (n,)
        Signed one-way loss seen from end A; an apparent gain is negative. [dB]
    loss_b_to_a_db : array_like, shape (n,)
        The same splices in the same order, seen from end B. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Offset of the reading from A; that of the reading from B is its negative. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the two shapes differ.
    NonFiniteReadingError
        If any reading is NaN or infinite.

    Notes
    -----
    .. math:: \Delta_i = \tfrac{1}{2}\,(L_{i,\mathrm{AB}} - L_{i,\mathrm{BA}})

    Half the difference of the two fibres' backscatter coefficients, as an OTDR displays them.

    References
    ----------
    .. [1] Common practice of bidirectional testing; no single published source.

    Examples
    --------
    >>> one_way_offset_db(loss_a_to_b_db=[0.12], loss_b_to_a_db=[-0.04]).round(6)
    array([0.08])
    """
    forward, backward = as_floats(loss_a_to_b_db), as_floats(loss_b_to_a_db)
    if forward.shape != backward.shape:
        raise UnpairedReadingsError(f"{forward.shape} readings against {backward.shape}")
    if not are_finite(forward, backward):
        raise NonFiniteReadingError("every one-way loss must be a finite number")
    return as_floats((forward - backward) / 2)


def mode_field_mismatch_loss_db(
    *, mode_field_diameter_a_um: ArrayLike, mode_field_diameter_b_um: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the loss of a perfectly aligned splice of unequal mode fields, in dB.

    Parameters
    ----------
    mode_field_diameter_a_um : array_like, shape (n,)
        Mode-field diameter of one fibre, above 0. [um]
    mode_field_diameter_b_um : array_like, shape (n,)
        Mode-field diameter of the other fibre, above 0. [um]

    Returns
    -------
    ndarray of float64, shape (n,)
        Loss, the same in both directions, at least 0. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the two shapes differ.
    NonFiniteReadingError
        If any diameter is NaN or infinite.
    OutOfRangeError
        If any diameter is not above 0.

    Notes
    -----
    .. math:: L = 20\,\log_{10}\!\left[\tfrac{1}{2}\left(\frac{w_1}{w_2} + \frac{w_2}{w_1}\right)\right]

    The overlap of two Gaussian fields; a ratio of diameters is a ratio of radii. True loss: it does not contain what
    an OTDR shows more or less of because the fibres scatter differently.

    References
    ----------
    .. [1] J. M. Senior, "Optical Fiber Communications", example 5.6.
    .. [2] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory).

    Examples
    --------
    >>> mode_field_mismatch_loss_db(mode_field_diameter_a_um=[11.2], mode_field_diameter_b_um=[8.4]).round(2)
    array([0.35])
    """
    first, second = as_floats(mode_field_diameter_a_um), as_floats(mode_field_diameter_b_um)
    if first.shape != second.shape:
        raise UnpairedReadingsError(f"{first.shape} diameters against {second.shape}")
    if not are_finite(first, second):
        raise NonFiniteReadingError("every mode-field diameter must be a finite number")
    if (first <= 0).any() or (second <= 0).any():
        raise OutOfRangeError("every mode-field diameter must be above 0 um")
    return as_floats(20 * np.log10((first / second + second / first) / 2))


def offset_loss_db(*, offset_um: ArrayLike, mode_field_radius_um: ArrayLike) -> NDArray[np.float64]:
    r"""Return the loss of a splice of equal fibres that lie beside each other by an offset, in dB.

    Parameters
    ----------
    offset_um : array_like, shape (n,)
        Lateral offset of the two axes, at least 0. [um]
    mode_field_radius_um : array_like, shape (n,)
        Mode-field radius of both fibres, above 0. [um]

    Returns
    -------
    ndarray of float64, shape (n,)
        Loss, at least 0. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the two shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an offset is below 0 or a radius not above 0.

    Notes
    -----
    .. math:: L = \frac{10}{\ln 10}\left(\frac{d}{w}\right)^2

    The overlap of two equal Gaussian fields. The factor is kept exact; the literature prints 4.343, or 4.34.

    References
    ----------
    .. [1] J. M. Senior, "Optical Fiber Communications", example 5.5.
    .. [2] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory).

    Examples
    --------
    >>> offset_loss_db(offset_um=[1.0], mode_field_radius_um=[4.6]).round(3)
    array([0.205])
    """
    offset, radius = as_floats(offset_um), as_floats(mode_field_radius_um)
    if offset.shape != radius.shape:
        raise UnpairedReadingsError(f"{offset.shape} offsets against {radius.shape} radii")
    if not are_finite(offset, radius):
        raise NonFiniteReadingError("every offset and radius must be a finite number")
    if (offset < 0).any() or (radius <= 0).any():
        raise OutOfRangeError("an offset is at least 0 um and a radius above 0 um")
    return as_floats(10 / np.log(10) * (offset / radius) ** 2)


def mismatch_and_offset_loss_db(
    *, mode_field_radius_a_um: ArrayLike, mode_field_radius_b_um: ArrayLike, offset_um: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the loss of a splice of unequal mode fields that lie beside each other by an offset, in dB.

    Parameters
    ----------
    mode_field_radius_a_um : array_like, shape (n,) or scalar
        Mode-field radius of one fibre, above 0. [um]
    mode_field_radius_b_um : array_like, shape (n,) or scalar
        Mode-field radius of the other fibre, above 0. [um]
    offset_um : array_like, shape (n,) or scalar
        Lateral offset of the two axes, at least 0. [um]

    Returns
    -------
    ndarray of float64, shape (n,)
        Loss, the same in both directions, at least 0. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If an offset is below 0 or a radius not above 0.

    Notes
    -----
    .. math:: L = -10\,\log_{10}\left\{\left[\frac{2 w_1 w_2}{w_1^2 + w_2^2}\right]^2
              \exp\left[\frac{-2 d^2}{w_1^2 + w_2^2}\right]\right\}

    The two factors are summed in decibels, so that no power of a far offset underflows. Fibres without tilt.

    References
    ----------
    .. [1] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory).

    Examples
    --------
    Equal fields leave the loss of the offset alone:

    >>> mismatch_and_offset_loss_db(
    ...     mode_field_radius_a_um=[4.6], mode_field_radius_b_um=[4.6], offset_um=[1.0]
    ... ).round(3)
    array([0.205])
    """
    first, second = as_floats(mode_field_radius_a_um), as_floats(mode_field_radius_b_um)
    offset = as_floats(offset_um)
    if not fit_together(first, second, offset):
        raise UnpairedReadingsError(f"radii {first.shape} and {second.shape} against {offset.shape} offsets")
    if not are_finite(first, second, offset):
        raise NonFiniteReadingError("every radius and offset must be a finite number")
    if not are_above_zero(first, second) or not are_at_least_zero(offset):
        raise OutOfRangeError("an offset is at least 0 um and a radius above 0 um")
    mismatch_db = 20 * np.log10((first / second + second / first) / 2)
    return as_floats(mismatch_db + 10 / np.log(10) * 2 * offset**2 / (first**2 + second**2))
