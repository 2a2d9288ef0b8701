"""Instants as exact numbers, by the canonical UTC text that records are kept with."""

import numpy as np


def instant_us(text: str) -> int:
    """Return the microseconds from 1970 to an instant."""
    # Not by `datetime`, whose module also reads the clock: judging has none. Years before 1000, which earlier releases
    # took, were kept without the zeros in front of them.
    year, _, rest = text.removesuffix("Z").partition("-")
    return int(np.datetime64(f"{year.zfill(4)}-{rest}", "us").astype(np.int64))


def age_us(*, earlier: str, later: str) -> int:
    """Return the microseconds from one instant to a later one."""
    return instant_us(later) - instant_us(earlier)
