"""Give labels room beside the points that they are about."""

from collections.abc import Sequence
from itertools import accumulate


def spread(wished: Sequence[float], sizes: Sequence[float], *, low: float, high: float) -> list[float]:
    """Return the middles of labels in their order, none over another, as near to the wished ones as squares can tell.

    They stay between `low` and `high` if there is room for all of them. Where neighbours would overlap they move apart
    about their common middle: the pool-adjacent-violators method of isotonic regression (from memory).
    """
    ends = list(accumulate(sizes))
    middles = [end - size / 2 for end, size in zip(ends, sizes, strict=True)]
    pools: list[tuple[float, int]] = []
    for wish, middle in zip(wished, middles, strict=True):
        total, count = wish - middle, 1
        while pools and pools[-1][0] / pools[-1][1] > total / count:
            above, members = pools.pop()
            total, count = total + above, count + members
        pools.append((total, count))
    last = max(low, high - ends[-1]) if ends else low
    starts = [min(max(total / count, low), last) for total, count in pools for _ in range(count)]
    return [start + middle for start, middle in zip(starts, middles, strict=True)]
