"""How far a link spreads a pulse: chromatic dispersion and polarisation-mode dispersion."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_at_least_zero, are_finite, as_floats, fit_together
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError


def dispersion_ps_per_nm_km(
    *, wavelength_nm: ArrayLike, zero_wavelength_nm: ArrayLike, zero_slope_ps_per_nm2_km: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the chromatic dispersion coefficient of standard single-mode fibre, in ps/(nm km).

    Parameters
    ----------
    wavelength_nm : array_like, shape (n,) or scalar
        Wavelength, above 0. [nm]
    zero_wavelength_nm : array_like, shape (n,) or scalar
        Wavelength at which the fibre has no dispersion, above 0. [nm]
    zero_slope_ps_per_nm2_km : array_like, shape (n,) or scalar
        Slope of the dispersion there, at least 0. [ps/(nm2 km)]

    Returns
    -------
    ndarray of float64, shape (n,)
        Dispersion coefficient, negative below the wavelength of none. [ps/(nm km)]

    Raises
    ------
    UnpairedReadingsError
        If the shapes differ.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a wavelength is not above 0 or a slope below 0.

    Notes
    -----
    .. math:: D(\lambda) = \frac{S_0}{4}\left(\lambda - \frac{\lambda_0^4}{\lambda^3}\right)

    The slope at zero dispersion is the fibre's, the rest the shape that a three-term fit of group delay gives.

    References
    ----------
    .. [1] ITU-T G.652 and G.650.1 (from memory).

    Examples
    --------
    >>> dispersion_ps_per_nm_km(
    ...     wavelength_nm=[1310.0, 1550.0], zero_wavelength_nm=1310.0, zero_slope_ps_per_nm2_km=0.092
    ... ).round(2)
    array([ 0.  , 17.46])
    """
    wavelength, zero = as_floats(wavelength_nm), as_floats(zero_wavelength_nm)
    slope = as_floats(zero_slope_ps_per_nm2_km)
    if not fit_together(wavelength, zero, slope):
        raise UnpairedReadingsError("wavelengths and slopes must have one shape")
    if not are_finite(wavelength, zero, slope):
        raise NonFiniteReadingError("every wavelength and slope must be a finite number")
    if not are_above_zero(wavelength, zero) or not are_at_least_zero(slope):
        raise OutOfRangeError("a wavelength is above 0 nm, a slope at least 0")
    return as_floats(slope / 4 * (wavelength - zero**4 / wavelength**3))


def link_dispersion_ps_per_nm(
    *, section_lengths_km: ArrayLike, dispersions_ps_per_nm_km: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the chromatic dispersion of a link, in ps/nm.

    Parameters
    ----------
    section_lengths_km : array_like, shape (m,) or (m, n)
        Fibre length of each section, at least 0. [km]
    dispersions_ps_per_nm_km : array_like, shape (m,) or (m, n)
        Dispersion coefficient of each section at one wavelength, signed. [ps/(nm km)]

    Returns
    -------
    ndarray of float64, scalar or shape (n,)
        Dispersion from end to end, one per column. [ps/nm]

    Raises
    ------
    UnpairedReadingsError
        If there is not one coefficient for each section.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a length is below 0.

    Notes
    -----
    .. math:: D = \sum_i D_i L_i

    References
    ----------
    .. [1] Common practice of link planning; no single published source.

    Examples
    --------
    >>> float(link_dispersion_ps_per_nm(section_lengths_km=[10.0, 2.0], dispersions_ps_per_nm_km=[17.0, -100.0]))
    -30.0
    """
    lengths, coefficients = as_floats(section_lengths_km), as_floats(dispersions_ps_per_nm_km)
    if lengths.ndim == 0 or lengths.shape != coefficients.shape:
        raise UnpairedReadingsError(f"{lengths.shape} sections against {coefficients.shape} coefficients")
    if not are_finite(lengths, coefficients):
        raise NonFiniteReadingError("every length and coefficient must be a finite number")
    if not are_at_least_zero(lengths):
        raise OutOfRangeError("a length is at least 0 km")
    return as_floats((lengths * coefficients).sum(axis=0))


def link_polarisation_mode_dispersion_ps(
    *, section_lengths_km: ArrayLike, coefficients_ps_per_sqrt_km: ArrayLike
) -> NDArray[np.float64]:
    r"""Return the polarisation-mode dispersion of a link, in ps.

    Parameters
    ----------
    section_lengths_km : array_like, shape (m,) or (m, n)
        Fibre length of each section, at least 0. [km]
    coefficients_ps_per_sqrt_km : array_like, shape (m,) or (m, n)
        Polarisation-mode dispersion coefficient of each section, at least 0. [ps/sqrt(km)]

    Returns
    -------
    ndarray of float64, scalar or shape (n,)
        Mean differential group delay from end to end, one per column. [ps]

    Raises
    ------
    UnpairedReadingsError
        If there is not one coefficient for each section.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a length or coefficient is below 0.

    Notes
    -----
    .. math:: \tau = \sqrt{\sum_i c_i^2 L_i}

    Sections add as random walks do. A design value over many draws of cable, not the most that one link can have.

    References
    ----------
    .. [1] ITU-T G.652, the link design value of polarisation-mode dispersion (from memory).

    Examples
    --------
    >>> float(link_polarisation_mode_dispersion_ps(section_lengths_km=[9.0, 16.0],
    ...                                            coefficients_ps_per_sqrt_km=[0.2, 0.2]))
    1.0
    """
    lengths, coefficients = as_floats(section_lengths_km), as_floats(coefficients_ps_per_sqrt_km)
    if lengths.ndim == 0 or lengths.shape != coefficients.shape:
        raise UnpairedReadingsError(f"{lengths.shape} sections against {coefficients.shape} coefficients")
    if not are_finite(lengths, coefficients):
        raise NonFiniteReadingError("every length and coefficient must be a finite number")
    if not are_at_least_zero(lengths, coefficients):
        raise OutOfRangeError("a length and a coefficient are at least 0")
    return as_floats(np.sqrt((coefficients**2 * lengths).sum(axis=0)))
