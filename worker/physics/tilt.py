"""Loss of a splice whose fibres meet at an angle."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_finite, as_floats
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError


def tilt_loss_db(
    *, tilt_deg: ArrayLike, refractive_index: ArrayLike, mode_field_radius_um: ArrayLike, wavelength_um: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the loss of a splice of equal fibres that meet at an angle, in dB.

    Parameters
    ----------
    tilt_deg : array_like, shape (n,)
        Angle between the two axes, at least 0. [deg]
    refractive_index : array_like, shape (n,) or scalar
        Index of the glass at the joint, at least 1. [unitless]
    mode_field_radius_um : array_like, shape (n,) or scalar
        Mode-field radius of both fibres, above 0. [um]
    wavelength_um : array_like, shape (n,) or scalar
        Wavelength in vacuum, above 0. [um]

    Returns
    -------
    ndarray of float64, shape (n,)
        Loss, at least 0. [dB]

    Raises
    ------
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If any argument is outside its range.

    Notes
    -----
    .. math:: L = \frac{10}{\ln 10}\left(\frac{\pi\,n\,w\,\theta}{\lambda}\right)^2

    Gaussian fields, small angles, the angle in radians.

    References
    ----------
    .. [1] J. M. Senior, "Optical Fiber Communications", example 5.5.
    .. [2] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory).

    Examples
    --------
    >>> tilt_loss_db(
    ...     tilt_deg=[1.0], refractive_index=1.447, mode_field_radius_um=4.6, wavelength_um=1.31
    ... ).round(3)
    array([0.337])
    """
    tilt, index = as_floats(tilt_deg), as_floats(refractive_index)
    radius, wavelength = as_floats(mode_field_radius_um), as_floats(wavelength_um)
    if not are_finite(tilt, index, radius, wavelength):
        raise NonFiniteReadingError("every argument must be a finite number")
    if (tilt < 0).any() or (index < 1).any() or (radius <= 0).any() or (wavelength <= 0).any():
        raise OutOfRangeError("an angle is at least 0, an index at least 1, a radius and a wavelength above 0")
    return as_floats(10 / np.log(10) * (np.pi * index * radius * np.deg2rad(tilt) / wavelength) ** 2)
