"""The least a splice can lose: what unlike mode fields cost, and what two directions that differ imply of them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_finite, as_floats
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

# [dB] A ratio of mode fields of ten thousand millions: no fibres; beyond it the power of ten has no meaning.
_GREATEST_OFFSET_DB = 100.0


def least_splice_loss_db(*, offset_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return the smallest loss a splice can have whose two directions differ by an offset, in dB.

    Parameters
    ----------
    offset_db : array_like, shape (n,)
        By how much the reading from A, or from B, is above the mean of both, between -100 and 100. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Mismatch loss of the mode fields that the offset implies, at least 0. [dB]

    Raises
    ------
    NonFiniteReadingError
        If any offset is NaN or infinite.
    OutOfRangeError
        If any offset is beyond 100 dB either way.

    Notes
    -----
    .. math:: L_{\min} = 20\,\log_{10}\cosh\left(\frac{\ln 10}{10}\,\Delta\right), \qquad
              \frac{\mathrm{MFD}_B}{\mathrm{MFD}_A} = 10^{\Delta/10}

    Captured backscatter goes as one over the square of the diameter, so the offset gives the ratio of the two mode
    fields. For fibres of one type: where the glass itself scatters otherwise, the offset implies too much. The bound
    is below a reading's uncertainty until the offset passes about 0.6 dB.

    References
    ----------
    .. [1] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory), with the ratio above.
    .. [2] ITU-T G.650.1 (contents page) lists the difference of the two directions as a way of measuring mode-field
       diameter; the ratio itself is common practice of bidirectional testing, no single published source.

    Examples
    --------
    >>> least_splice_loss_db(offset_db=[0.0, 0.6, -0.6]).round(3)
    array([0.   , 0.083, 0.083])
    """
    offset = as_floats(offset_db)
    if not are_finite(offset):
        raise NonFiniteReadingError("every offset must be a finite number")
    if (np.abs(offset) > _GREATEST_OFFSET_DB).any():
        raise OutOfRangeError(f"an offset is at most {_GREATEST_OFFSET_DB} dB either way")
    ratio = as_floats(10 ** (offset / 10))
    return mode_field_mismatch_loss_db(mode_field_diameter_a_um=np.ones_like(ratio), mode_field_diameter_b_um=ratio)


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
    if not are_above_zero(first, second):
        raise OutOfRangeError("every mode-field diameter must be above 0 um")
    return as_floats(20 * np.log10((first / second + second / first) / 2))
