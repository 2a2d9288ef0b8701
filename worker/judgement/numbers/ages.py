"""Instants as exact numbers, by the canonical UTC text that records are kept with."""

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def instant_us(text: str) -> int:
    """Return the microseconds from 1970 to an instant."""
    # Years before 1000, which earlier releases took, were kept without the zeros in front of them.
    year, _, rest = text.partition("-")
    return (datetime.fromisoformat(f"{year.zfill(4)}-{rest}") - _EPOCH) // _MICROSECOND


def age_us(*, earlier: str, later: str) -> int:
    """Return the microseconds from one instant to a later one."""
    return instant_us(later) - instant_us(earlier)
