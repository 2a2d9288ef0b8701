"""How unlikely it is that honest readings agree, in exact numbers: the same on every machine."""

from fractions import Fraction

# Twice the square root of pi, a little low, so that a chance is never said too small.
_TWO_ROOTS_OF_PI = Fraction(35449, 10000)
_SPREAD_OF_JOINTS_MDB = 30
_NOISE_MDB = 10
# Beyond this a smaller chance says no more.
_MOST_LOSSES = 60


def chance_of_equal_losses(*, losses: int, step_mdb: int, traces: int, is_repeated: bool) -> int:
    r"""Return the power of ten, its sign left out, below which the chance is that any two traces show equal losses.

    Parameters
    ----------
    losses : int
        How many losses are equal, one by one.
    step_mdb : int
        Last place of a loss. [0.001 dB]
    traces : int
        How many traces there are to be alike.
    is_repeated : bool
        Whether one and the same fibre was measured twice from one end.

    Returns
    -------
    int
        The greatest k with a chance of at most 10 to the minus k; 0 where there is nothing unlikely in it.

    Notes
    -----
    .. math:: P \le \binom{N}{2} \left(\frac{q}{2\sigma\sqrt{\pi}}\right)^n

    Two independent normal losses of standard deviation :math:`\sigma` differ by a normal value of
    :math:`\sigma\sqrt 2`, whose density is :math:`1/(2\sigma\sqrt\pi)` at most; that times the last place q bounds the
    chance that they read the same. Losses of one trace are taken for independent. :math:`\sigma` is 0.03 dB from joint
    to joint, and 0.01 dB from one reading of a joint to the next: common practice, no source.
    """
    spread_mdb = _NOISE_MDB if is_repeated else _SPREAD_OF_JOINTS_MDB
    of_one = min(Fraction(1), Fraction(step_mdb) / (_TWO_ROOTS_OF_PI * spread_mdb))
    chance = Fraction(traces * (traces - 1), 2) * of_one ** min(losses, _MOST_LOSSES)
    power = 0
    while chance * 10 <= 1:
        chance *= 10
        power += 1
    return power


def power_text(power: int, assumed: str) -> str:
    """Say how small a chance is, and what it was reckoned from."""
    return f"at most 1e-{power}, taking {assumed}"
