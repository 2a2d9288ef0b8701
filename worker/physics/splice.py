"""The least a splice can lose: what unlike mode fields cost, and what two directions that differ imply of them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_finite, as_floats
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError

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
    .. math:: L_{\min} = 20\,\log_{10}\!\left[\tfrac{1}{2}\left(\frac{w_1}{w_2} + \frac{w_2}{w_1}\right)\right],
              \qquad \frac{w_2}{w_1} = 10^{\Delta/10}

    The overlap of two Gaussian mode fields, perfectly aligned. Captured backscatter goes as one over the square of the
    diameter, so the offset gives the ratio of the two. For fibres of one type: where the glass itself scatters
    otherwise, the offset implies too much. The bound is below a reading's uncertainty until the offset passes about
    0.6 dB.

    References
    ----------
    .. [1] J. M. Senior, "Optical Fiber Communications", example 5.6, for the loss of a ratio.
    .. [2] D. Marcuse, Bell Syst. Tech. J. 56(5), 703-718, 1977 (from memory), for the same.
    .. [3] ITU-T G.650.1 (contents page) lists the difference of the two directions as a way of measuring mode-field
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
    ratio = 10 ** (offset / 10)
    return as_floats(20 * np.log10((1 / ratio + ratio) / 2))
