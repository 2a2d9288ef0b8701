"""What a splice reads too much or too little from one side, and what that says of its two fibres."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_finite, as_floats, fit_together
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.splice import mode_field_mismatch_loss_db

# [dB] A ratio of mode fields of ten thousand millions: no fibres; beyond it the power of ten has no meaning.
_GREATEST_OFFSET_DB = 100.0


def offset_from_backscatter_db(
    *, backscatter_coefficient_a_db: ArrayLike, backscatter_coefficient_b_db: ArrayLike
) -> NDArray[np.float64]:
    r"""Return by how much a reading from A is above the splice's loss, from both fibres' backscatter, in dB.

    Parameters
    ----------
    backscatter_coefficient_a_db : array_like, shape (n,) or scalar
        Backscatter coefficient of the fibre on the side of A, for one pulse width. [dB]
    backscatter_coefficient_b_db : array_like, shape (n,) or scalar
        The same of the fibre on the side of B. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Offset of the reading from A; that of the reading from B is its negative. [dB]

    Raises
    ------
    UnpairedReadingsError
        If the two shapes differ.
    NonFiniteReadingError
        If any coefficient is NaN or infinite.

    Notes
    -----
    .. math:: \Delta = \tfrac{1}{2}\,(K_A - K_B)

    Halved because an OTDR shows round trips as one way, five times the logarithm of the power.

    References
    ----------
    .. [1] Common practice of bidirectional testing; no single published source.

    Examples
    --------
    >>> offset_from_backscatter_db(
    ...     backscatter_coefficient_a_db=[-82.00], backscatter_coefficient_b_db=[-82.16]
    ... ).round(6)
    array([0.08])
    """
    before, behind = as_floats(backscatter_coefficient_a_db), as_floats(backscatter_coefficient_b_db)
    if not fit_together(before, behind):
        raise UnpairedReadingsError(f"{before.shape} coefficients against {behind.shape}")
    if not are_finite(before, behind):
        raise NonFiniteReadingError("every backscatter coefficient must be a finite number")
    return as_floats((before - behind) / 2)


def offset_from_mode_fields_db(
    *, mode_field_diameter_a_um: ArrayLike, mode_field_diameter_b_um: ArrayLike
) -> NDArray[np.float64]:
    r"""Return by how much a reading from A is above the splice's loss, from both mode fields, in dB.

    Parameters
    ----------
    mode_field_diameter_a_um : array_like, shape (n,) or scalar
        Mode-field diameter on the side of A, above 0. [um]
    mode_field_diameter_b_um : array_like, shape (n,) or scalar
        Mode-field diameter on the side of B, above 0. [um]

    Returns
    -------
    ndarray of float64, shape (n,)
        Offset of the reading from A, negative where light goes from the larger field to the smaller. [dB]

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
    .. math:: \Delta = 10\,\log_{10}\frac{\mathrm{MFD}_B}{\mathrm{MFD}_A}

    Captured backscatter goes as one over the square of the diameter. Holds for fibres that scatter alike.

    References
    ----------
    .. [1] Common practice of bidirectional testing; no single published source. ITU-T G.650.1 (contents page) lists the
       difference of the two directions as a way of measuring mode-field diameter.

    Examples
    --------
    >>> offset_from_mode_fields_db(mode_field_diameter_a_um=[9.2], mode_field_diameter_b_um=[8.6]).round(3)
    array([-0.293])
    """
    before, behind = as_floats(mode_field_diameter_a_um), as_floats(mode_field_diameter_b_um)
    if not fit_together(before, behind):
        raise UnpairedReadingsError(f"{before.shape} diameters against {behind.shape}")
    if not are_finite(before, behind):
        raise NonFiniteReadingError("every mode-field diameter must be a finite number")
    if not are_above_zero(before, behind):
        raise OutOfRangeError("every mode-field diameter must be above 0 um")
    return as_floats(10 * np.log10(behind / before))


def implied_mode_field_ratio(*, offset_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return how many times wider the mode field beyond the splice is than the one before it.

    Parameters
    ----------
    offset_db : array_like, shape (n,)
        Offset of the reading from A, between -100 and 100. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Mode-field diameter on the side of B over that on the side of A, above 0. [unitless]

    Raises
    ------
    NonFiniteReadingError
        If any offset is NaN or infinite.
    OutOfRangeError
        If any offset is beyond 100 dB either way.

    Notes
    -----
    .. math:: \frac{\mathrm{MFD}_B}{\mathrm{MFD}_A} = 10^{\Delta/10}

    Takes all of the offset for mode fields: what comes of glass that scatters otherwise is counted in.

    References
    ----------
    .. [1] Computed from capture as one over the square of the diameter; see `offset_from_mode_fields_db`.

    Examples
    --------
    >>> implied_mode_field_ratio(offset_db=[-0.293]).round(3)
    array([0.935])
    """
    offset = as_floats(offset_db)
    if not are_finite(offset):
        raise NonFiniteReadingError("every offset must be a finite number")
    if (np.abs(offset) > _GREATEST_OFFSET_DB).any():
        raise OutOfRangeError(f"an offset is at most {_GREATEST_OFFSET_DB} dB either way")
    return as_floats(10 ** (offset / 10))


def least_splice_loss_db(*, offset_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return the smallest loss a splice can have whose two directions differ by an offset, in dB.

    Parameters
    ----------
    offset_db : array_like, shape (n,)
        Offset of the reading from A, or from B, between -100 and 100. [dB]

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
    .. math:: L_{\min} = 20\,\log_{10}\cosh\left(\frac{\ln 10}{10}\,\Delta\right)

    For fibres of one type: where the glass itself scatters otherwise, the offset implies too much. The bound is below
    a reading's uncertainty until the offset passes about 0.6 dB.

    References
    ----------
    .. [1] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory), with the ratio of
       `implied_mode_field_ratio`.

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
    ratio = implied_mode_field_ratio(offset_db=offset)
    return mode_field_mismatch_loss_db(mode_field_diameter_a_um=np.ones_like(ratio), mode_field_diameter_b_um=ratio)
