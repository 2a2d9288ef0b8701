"""How far a link spreads a pulse, as its parts let one expect it."""

import math
from collections.abc import Sequence


def dispersion_ps_per_nm_km(
    *, wavelength_nm: float, zero_wavelength_nm: float, zero_slope_ps_per_nm2_km: float
) -> float:
    """Return the chromatic dispersion of standard single-mode fibre: (S0 / 4) (l - l0^4 / l^3).

    ITU-T G.652 and G.650.1, from memory: the shape that a three-term fit of group delay gives.

    >>> round(dispersion_ps_per_nm_km(wavelength_nm=1550, zero_wavelength_nm=1310, zero_slope_ps_per_nm2_km=0.092), 2)
    17.46
    """
    return zero_slope_ps_per_nm2_km / 4 * (wavelength_nm - zero_wavelength_nm**4 / wavelength_nm**3)


def link_polarization_mode_dispersion_ps(
    *, section_lengths_km: Sequence[float], coefficients_ps_per_sqrt_km: Sequence[float]
) -> float:
    """Return the polarization-mode dispersion of sections in line, which add as random walks: the root of sum c^2 L.

    ITU-T G.652, the link design value, from memory.

    >>> link_polarization_mode_dispersion_ps(section_lengths_km=[9, 16], coefficients_ps_per_sqrt_km=[0.2, 0.2])
    1.0
    """
    sections = zip(section_lengths_km, coefficients_ps_per_sqrt_km, strict=True)
    return math.sqrt(sum(coefficient**2 * length_km for length_km, coefficient in sections))
