"""Losses as whole numbers of 0.0001 dB, the last place that a finding is written to, so that sums of them are exact."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from itertools import count

from service.vocabulary.quantities import UM_PER_KM, UM_PER_M, decimal_text

_PLACES = 4
_FIXED_PER_DB = 10**_PLACES


# A route has hundreds of thousands of losses and a few thousand different ones.
@lru_cache(maxsize=1 << 15)
def to_fixed(text: str) -> int:
    """Return a loss in dB as it is written in a finding or a criterion."""
    fixed = Decimal(text) * _FIXED_PER_DB
    if fixed != (whole := int(fixed)):
        raise ValueError(f"{text} has more than four decimals")
    return whole


def fixed_text(fixed: int | Fraction) -> str:
    """Write a loss in dB, rounded half to even to four decimals."""
    return decimal_text(round(fixed), places=_PLACES)


def tick_text(fixed: int) -> str:
    """Write a round loss in dB with no more decimals than it has."""
    return f"{fixed / _FIXED_PER_DB:.12g}"


def round_step(least: float) -> int:
    """Return the least of 1, 2, 5, 10, 20, 50 and so on that is not under a number."""
    steps: Iterator[int] = (mantissa * 10**power for power in count() for mantissa in (1, 2, 5))
    return next(step for step in steps if step >= least)


def multiples(step: int, *, low: int, high: int) -> Iterator[int]:
    """Give the multiples of a step from `low` to `high`, both included."""
    yield from range(-(-low // step) * step, high + 1, step)


def distance_ticks(*, low_um: int, high_um: int, pt_per_um: float, least_apart_pt: float) -> Iterator[tuple[int, str]]:
    """Give the round distances along a fibre with what each is called; the first names the unit."""
    if low_um == high_um:
        return
    step_um = round_step(least_apart_pt / pt_per_um)
    unit, unit_um = ("km", UM_PER_KM) if step_um >= UM_PER_KM else ("m", UM_PER_M)
    for index, tick_um in enumerate(multiples(step_um, low=low_um, high=high_um)):
        label = f"{tick_um / unit_um:.12g}"
        yield tick_um, label if index else f"{label} {unit}"
