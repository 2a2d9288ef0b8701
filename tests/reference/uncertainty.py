"""Standard uncertainties put together: independent ones, and those that one cause shares out to several readings."""

import math
from collections.abc import Sequence


def combined_uncertainty(
    *, sensitivities: Sequence[float], own: Sequence[float], common: Sequence[float] = ()
) -> float:
    """Return the standard uncertainty of a result, in its unit, whose inputs share at most one cause of error.

    u^2 = sum (c u)^2 + (sum c s)^2: JCGM 100:2008, 5.1.2, eq. (10), and 5.2.2, its note on inputs that are all
    correlated by +1 (from memory). What is common adds with its sign: a mean keeps it whole, a difference loses it.

    >>> round(combined_uncertainty(sensitivities=[0.5, 0.5], own=[0.03, 0.03]), 4)
    0.0212
    >>> combined_uncertainty(sensitivities=[0.5, -0.5], own=[0.0, 0.0], common=[0.1, 0.1])
    0.0
    """
    shared = common or [0.0] * len(own)
    independent = math.fsum((weight * each) ** 2 for weight, each in zip(sensitivities, own, strict=True))
    correlated = math.fsum(weight * each for weight, each in zip(sensitivities, shared, strict=True))
    return math.hypot(math.sqrt(independent), correlated)
