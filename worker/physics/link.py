"""Loss of a link from end to end: what its parts add up to, and which connections a reading includes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_finite, as_floats
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError


def expected_link_loss_db(
    *,
    section_lengths_km: ArrayLike,
    attenuations_db_per_km: ArrayLike,
    splice_losses_db: ArrayLike = (),
    connection_losses_db: ArrayLike = (),
    other_db: float = 0.0,
) -> NDArray[np.float64]:
    r"""Return what the parts of a link add up to, in dB.

    Parameters
    ----------
    section_lengths_km : array_like, shape (n,)
        Fibre length of each section in route order from end A, at least 0; not the length of its sheath. [km]
    attenuations_db_per_km : array_like, shape (n,)
        Attenuation coefficient of each section, at least 0. [dB/km]
    splice_losses_db : array_like, shape (k,)
        Loss of each splice. [dB]
    connection_losses_db : array_like, shape (p,)
        Loss of each mated pair that the reading includes. [dB]
    other_db : float
        Loss of what else lies in the link, and margins. [dB]

    Returns
    -------
    ndarray of float64, scalar
        Expected loss from end to end. [dB]

    Raises
    ------
    UnpairedReadingsError
        If there is not one coefficient for each section.
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a length or a coefficient is below 0.

    Notes
    -----
    .. math:: A = \sum_i a_i L_i + \sum_j A_{s,j} + \sum_k A_{c,k} + A_o

    Connections count as mated pairs. Losses given for different wavelengths must not be mixed; the caller checks.

    References
    ----------
    .. [1] Common practice of link planning, as in the worked examples of network hardware guides.

    Examples
    --------
    Eight kilometres at 0.5 dB/km with seven pairs of 0.5 dB:

    >>> float(expected_link_loss_db(
    ...     section_lengths_km=[8.0], attenuations_db_per_km=[0.5], connection_losses_db=[0.5] * 7
    ... ))
    7.5
    """
    lengths, coefficients = as_floats(section_lengths_km), as_floats(attenuations_db_per_km)
    splices, connections = as_floats(splice_losses_db), as_floats(connection_losses_db)
    if lengths.shape != coefficients.shape:
        raise UnpairedReadingsError(f"{lengths.shape} sections against {coefficients.shape} coefficients")
    if not are_finite(lengths, coefficients, splices, connections, as_floats(other_db)):
        raise NonFiniteReadingError("every argument must be a finite number")
    if (lengths < 0).any() or (coefficients < 0).any():
        raise OutOfRangeError("a length and an attenuation coefficient are at least 0")
    return as_floats((lengths * coefficients).sum() + splices.sum() + connections.sum() + other_db)


def counted_connections(*, pairs: ArrayLike, reference_cords: ArrayLike) -> NDArray[np.int64]:
    """Return how many mated pairs a link's reading includes, by its reference method.

    Parameters
    ----------
    pairs : array_like of int, shape (n,)
        Mated pairs of the link, both end connections included, at least 0. [count]
    reference_cords : array_like of int, shape (n,) or scalar
        Cords in the reference: 1, 2 or 3. [count]

    Returns
    -------
    ndarray of int64, shape (n,)
        Pairs in the reading: all with one cord, less one end with two, less both with three; at least 0. [count]

    Raises
    ------
    OutOfRangeError
        If there are fewer than no pairs, or not one to three cords.

    Notes
    -----
    What the reference already contains, the reading of the link leaves out: each cord after the first brings one
    connection into the reference.

    References
    ----------
    .. [1] IEC 61280-4-2 and TIA-526-7 (both from memory).

    Examples
    --------
    >>> counted_connections(pairs=[3, 3, 3], reference_cords=[1, 2, 3])
    array([3, 2, 1])
    """
    counted, cords = np.asarray(pairs, dtype=np.int64), np.asarray(reference_cords, dtype=np.int64)
    if (counted < 0).any() or (cords < 1).any() or (cords > 3).any():
        raise OutOfRangeError("a link has no fewer than 0 pairs, a reference 1 to 3 cords")
    return np.asarray(np.maximum(0, counted - (cords - 1)), dtype=np.int64)
