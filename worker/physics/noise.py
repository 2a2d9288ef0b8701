"""What noise does to a step in a trace: how far above it the backscatter stands, and how much it hides there."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_above_zero, are_finite, as_floats, fit_together
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

# log10 U = 0.6 - 0.2 S, U and S in dB (Keiser, from memory).
_AT_NOISE, _PER_DB = 0.6, -0.2


def dynamic_range_db(
    *,
    stated_range_db: ArrayLike,
    stated_pulse_ns: ArrayLike,
    stated_averaging_s: ArrayLike,
    pulse_ns: ArrayLike,
    averaging_s: ArrayLike,
) -> NDArray[np.float64]:
    r"""Return the dynamic range of an instrument at another pulse and averaging than the stated ones, in dB.

    Parameters
    ----------
    stated_range_db : array_like, shape (n,) or scalar
        Dynamic range at the stated pulse and averaging: one-way loss from the port at which the backscatter is as
        large as the root mean square of the noise (SNR = 1). [dB]
    stated_pulse_ns : array_like, shape (n,) or scalar
        Pulse it is stated for, above 0. [ns]
    stated_averaging_s : array_like, shape (n,) or scalar
        Averaging it is stated for, above 0. [s]
    pulse_ns : array_like, shape (n,) or scalar
        Pulse of the trace, above 0. [ns]
    averaging_s : array_like, shape (n,) or scalar
        Averaging of the trace, above 0. [s]

    Returns
    -------
    ndarray of float64, shape (n,)
        One-way loss at which the backscatter of this trace is as large as its noise. [dB]

    Raises
    ------
    NonFiniteReadingError
        If any argument is NaN or infinite.
    OutOfRangeError
        If a pulse or an averaging is not above 0.
    UnpairedReadingsError
        If the shapes differ.

    Notes
    -----
    .. math:: D = D_0 + 5\,\log_{10}\frac{\tau}{\tau_0} + 2.5\,\log_{10}\frac{T}{T_0}

    Backscatter grows with the pulse, noise falls with the root of the averages; a trace shows 5 log of its power.
    Common practice, no source. It holds for one bandwidth of the receiver. One that is made narrower for long pulses
    gains more by them than this, so that of a range stated at a long pulse a short one has less: state it for a pulse
    near the trace's.

    References
    ----------
    .. [1] No source: common practice, derived above.

    Examples
    --------
    >>> float(dynamic_range_db(
    ...     stated_range_db=40.0, stated_pulse_ns=10_000.0, stated_averaging_s=180.0, pulse_ns=100.0, averaging_s=18.0
    ... ))
    27.5
    """
    stated, pulse, averaging = as_floats(stated_range_db), as_floats(pulse_ns), as_floats(averaging_s)
    pulse_before, averaging_before = as_floats(stated_pulse_ns), as_floats(stated_averaging_s)
    if not are_finite(stated, pulse, averaging, pulse_before, averaging_before):
        raise NonFiniteReadingError("range, pulses and averaging must be finite numbers")
    if not fit_together(stated, pulse, averaging, pulse_before, averaging_before):
        raise UnpairedReadingsError("ranges, pulses and averaging of different shapes")
    if not are_above_zero(pulse, averaging, pulse_before, averaging_before):
        raise OutOfRangeError("a pulse and an averaging are above 0")
    return as_floats(stated + 5 * np.log10(pulse / pulse_before) + 2.5 * np.log10(averaging / averaging_before))


def step_noise_db(*, above_noise_db: ArrayLike) -> NDArray[np.float64]:
    r"""Return how uncertain noise makes a loss that is read from a trace, in dB.

    Parameters
    ----------
    above_noise_db : array_like, shape (n,) or scalar
        How far the backscatter stands above the root mean square of the noise: dynamic range less the one-way loss
        from the port; below 0 beyond the range. [dB]

    Returns
    -------
    ndarray of float64, shape (n,)
        Uncertainty of the loss, above 0. [dB]

    Raises
    ------
    NonFiniteReadingError
        If a value is NaN or infinite.

    Notes
    -----
    .. math:: \log_{10} U = 0.6 - 0.2\,S

    The slope follows from what a trace shows: noise of one part in :math:`10^{S/5}` of the power moves a point of 5 log
    of it by :math:`5/\ln 10` of that, and a step is the difference of two levels. Were each level a single point,
    :math:`U` would be 1.3 standard deviations; with lines fitted to either side, which leave about a third of a point's
    noise (common practice, no source), it is more than four. Where it is large it is too large to decide anything.

    References
    ----------
    .. [1] G. Keiser, "Optical Fiber Communications", chapter on measurements, problem on the uncertainty of an OTDR's
       losses by its ratio of signal to noise (the problem seen, its formula from memory).
    .. [2] IEC 61746, from memory: where a point's noise is 0.1 dB a range is about 6.6 dB less than at SNR = 1.

    Examples
    --------
    >>> step_noise_db(above_noise_db=[5.0, 9.505, 13.0]).round(3)
    array([0.398, 0.05 , 0.01 ])
    """
    above = as_floats(above_noise_db)
    if not are_finite(above):
        raise NonFiniteReadingError("every value must be a finite number")
    return as_floats(10 ** (_AT_NOISE + _PER_DB * above))
