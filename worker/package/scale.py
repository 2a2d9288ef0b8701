"""Round numbers along a scale; whole numbers of its last place, so that a tick stands where its label says."""

from collections.abc import Iterator

_MANTISSAS = (1, 2, 5)


def round_step(least: float) -> int:
    """Return the least of 1, 2, 5, 10, 20, 50 and so on that is not under a number."""
    power = 1
    while True:
        for mantissa in _MANTISSAS:
            if mantissa * power >= least:
                return mantissa * power
        power *= 10


def multiples(step: int, *, low: int, high: int) -> Iterator[int]:
    """Give the multiples of a step from `low` to `high`, both included."""
    yield from range(-(-low // step) * step, high + 1, step)
