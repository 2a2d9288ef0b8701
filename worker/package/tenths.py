"""Losses as whole numbers of 0.0001 dB, the last place that a finding is written to, so that sums of them are exact."""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from service.vocabulary.quantities import round_half_even

TENTHS_PER_DB = 10_000


# A route has hundreds of thousands of losses and a few thousand different ones.
@lru_cache(maxsize=1 << 15)
def to_tenths(text: str) -> int:
    """Return a loss in dB as it is written in a finding or a criterion."""
    tenths = Decimal(text) * TENTHS_PER_DB
    if tenths != (whole := int(tenths)):
        raise ValueError(f"{text} has more than four decimals")
    return whole


def tenths_text(tenths: int | Fraction, *, places: int = 4) -> str:
    """Write a loss in dB, rounded half to even to so many decimals."""
    rounded = round_half_even(Fraction(tenths), unit=10 ** (4 - places))
    whole, part = divmod(abs(rounded), 10**places)
    return f"{'-' if rounded < 0 else ''}{whole}.{part:0{places}d}"
