"""A row of the table: what was measured, against what, and whether that reaches what the design asks."""

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

_EXPONENT_AT_MOST = 1.05
# Below this the fixed cost of a run is most of it.
_EXPONENT_FROM_FIBRES = 48


@dataclass(frozen=True, kw_only=True)
class Row:
    """One figure; `at_least` and `at_most` are the design's, none where the row is there to compare with."""

    what: str
    fibres: int | None
    measured: str
    reference: str
    figure: float
    unit: str = ""
    at_least: float | None = None
    at_most: float | None = None

    @property
    def is_reached(self) -> bool | None:
        """Tell whether the figure is what the design asks for."""
        if self.at_least is None and self.at_most is None:
            return None
        is_enough = self.at_least is None or self.figure >= self.at_least
        return is_enough and (self.at_most is None or self.figure <= self.at_most)

    @property
    def required(self) -> str:
        """Say what the design asks for."""
        if self.at_least is not None:
            return f"≥ {self.at_least:g} {self.unit}".rstrip()
        return "" if self.at_most is None else f"≤ {self.at_most:g} {self.unit}".rstrip()


@dataclass(frozen=True, kw_only=True)
class Scale:
    """The sizes, and how often each thing is repeated."""

    fibres: Sequence[int]
    batches: int = 10
    reactions: int = 100
    judgings: int = 5
    single_records: int = 15
    requests: int = 400
    drawings: int = 3
    uploaded_fibres: int = 864

    @classmethod
    def quick(cls, fibres: Sequence[int]) -> "Scale":
        """Return a scale that only shows that everything still runs."""
        return cls(
            fibres=fibres,
            batches=1,
            reactions=3,
            judgings=1,
            single_records=1,
            requests=5,
            drawings=1,
            uploaded_fibres=12,
        )


def percentile_95(values: Sequence[float]) -> float:
    """Return the smallest value that 95 % of all are at or under."""
    return sorted(values)[-(-len(values) * 95 // 100) - 1]


def median_and_95th_ms(seconds: Sequence[float]) -> str:
    """Say the median and the 95th percentile in milliseconds."""
    return f"median {statistics.median(seconds) * 1000:.0f} ms, 95th {percentile_95(seconds) * 1000:.0f} ms"


def exponent_rows(what: str, seconds: Mapping[int, float], *, runs: int) -> Iterator[Row]:
    """Give the row of how time grows with the fibres, where there are sizes enough to tell."""
    fitted = {fibres: took_s for fibres, took_s in seconds.items() if fibres >= _EXPONENT_FROM_FIBRES}
    if len(fitted) > 1:
        xs, ys = [math.log(fibres) for fibres in fitted], [math.log(took_s) for took_s in fitted.values()]
        yield Row(
            what=what,
            fibres=None,
            measured=f"minimum of {runs} runs",
            reference=f"{', '.join(map(str, fitted))} fibres, slope of logarithms",
            figure=statistics.linear_regression(xs, ys).slope,
            at_most=_EXPONENT_AT_MOST,
        )
