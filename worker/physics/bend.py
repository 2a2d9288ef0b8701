"""What tells a bend from a splice: it loses more the longer the wave."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_finite, as_floats, exceed
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError


@dataclass(frozen=True, kw_only=True, eq=False)
class BendSignature:
    """Per joint, how much more it loses at each longer wavelength than at the shortest, and whether as a bend does."""

    longer_wavelengths_nm: NDArray[np.float64]
    differences_db: NDArray[np.float64]
    looks_bent: NDArray[np.bool_]


def bend_signature(
    *,
    losses_db: ArrayLike,
    wavelengths_nm: ArrayLike,
    greatest_difference_db: float,
    greatest_ratio: float,
) -> BendSignature:
    r"""Return which joints lose more at longer wavelengths as a bend does, and by how many dB.

    Parameters
    ----------
    losses_db : array_like, shape (m, n)
        Loss of each joint, one row per wavelength; an apparent gain is negative. [dB]
    wavelengths_nm : array_like, shape (m,)
        At least two different wavelengths, in any order, above 0. [nm]
    greatest_difference_db : float
        By how much a longer wavelength may lose more and yet be no bend, at least 0; 0.2 is a fair start. [dB]
    greatest_ratio : float
        How many times as much it may lose and yet be no bend, at least 1; 1.5 is a fair start. [unitless]

    Returns
    -------
    BendSignature
        Longer wavelengths in rising order, shape (m - 1,) [nm]; differences from the shortest, shape (m - 1, n) [dB];
        whether a joint looks bent, shape (n,).

    Raises
    ------
    UnpairedReadingsError
        If there is not one row for each wavelength.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If there are fewer than two wavelengths, two are equal, or a wavelength or setting is outside its range.

    Notes
    -----
    .. math:: A_\lambda - A_{\lambda_0} > \delta \quad\mathrm{and}\quad A_\lambda > \rho\,\max(A_{\lambda_0}, 0)

    for any longer wavelength. Both settings must be passed: a difference alone accuses bad splices, a ratio alone good
    ones. The ratio is written as a product, so that a joint of no loss needs none. A joint on a setting is no bend.

    References
    ----------
    .. [1] Common practice of testing at two wavelengths; no standard fixes the difference, both limits are settings.

    Examples
    --------
    >>> seen = bend_signature(
    ...     losses_db=[[0.05, 0.06], [0.06, 0.48]], wavelengths_nm=[1310, 1550], greatest_difference_db=0.2,
    ...     greatest_ratio=1.5
    ... )
    >>> seen.differences_db.round(3), seen.looks_bent
    (array([[0.01, 0.42]]), array([False,  True]))
    """
    losses, wavelengths = as_floats(losses_db), as_floats(wavelengths_nm)
    if losses.ndim == 0 or wavelengths.shape != losses.shape[:1]:
        raise UnpairedReadingsError(f"{losses.shape} losses against {wavelengths.shape} wavelengths")
    if not are_finite(losses, wavelengths, as_floats([greatest_difference_db, greatest_ratio])):
        raise NonFiniteReadingError("every argument must be a finite number")
    if len(np.unique(wavelengths)) < max(2, wavelengths.size) or not are_above_zero(wavelengths):
        raise OutOfRangeError("a bend shows only between two or more different wavelengths above 0 nm")
    if greatest_difference_db < 0 or greatest_ratio < 1:
        raise OutOfRangeError("the difference is at least 0 dB, the ratio at least 1")
    order = np.argsort(wavelengths)
    shortest, longer = losses[order[0]], losses[order[1:]]
    differs = exceed(longer - shortest, as_floats(greatest_difference_db))
    outgrows = exceed(longer, greatest_ratio * np.maximum(shortest, 0))
    return BendSignature(
        longer_wavelengths_nm=wavelengths[order[1:]],
        differences_db=longer - shortest,
        looks_bent=np.any(differs & outgrows, axis=0),
    )
