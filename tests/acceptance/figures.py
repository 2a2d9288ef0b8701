"""Shares with their confidence interval, as they are printed."""

from dataclasses import dataclass

from scipy.stats import binomtest


@dataclass(frozen=True)
class Share:
    """So many of so many, with the exact 95 % confidence interval (Clopper and Pearson)."""

    count: int
    of: int

    @property
    def interval(self) -> tuple[float, float]:
        """The least and the most that the true share may be."""
        return self.interval_at(0.95)

    def interval_at(self, confidence: float) -> tuple[float, float]:
        """Return the least and the most that the true share may be, with some confidence."""
        found = binomtest(self.count, self.of).proportion_ci(confidence_level=confidence, method="exact")
        return float(found.low), float(found.high)

    def __str__(self) -> str:
        if not self.of:
            return "none of none"
        low, high = self.interval
        return f"{self.count} of {self.of}: {self.count / self.of:.4%}, 95 % interval {low:.4%} to {high:.4%}"
