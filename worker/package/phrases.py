"""Counts, times and runs of numbers in words, for whoever writes sentences: attached data, pages, and the seal."""

from collections.abc import Iterable
from datetime import datetime
from itertools import groupby

from service.vocabulary.instants import canonical_time

UNKNOWN = "–"  # noqa: RUF001  an en dash, set where a value is not known
_LONGEST_NAME = 90


def words(term: str) -> str:
    """Return a term of the closed lists as words."""
    return term.replace("_", " ")


def time_text(instant: datetime | str) -> str:
    """Return an instant to the second, in UTC, which it says."""
    return f"{utc_text(instant)} UTC"


def utc_text(instant: datetime | str) -> str:
    """Return an instant to the second, for a column whose heading says UTC."""
    text = instant if isinstance(instant, str) else canonical_time(instant)
    return f"{text[:10]} {text[11:19]}"


def numbers_text(numbers: Iterable[int]) -> str:
    """Return whole numbers in rising order, those that follow each other as ranges."""
    # In a run of rising numbers each is as far from its place in the list as the one before.
    runs = [[number for _, number in run] for _, run in groupby(enumerate(numbers), key=lambda one: one[1] - one[0])]
    return ", ".join(range_text(first=run[0], last=run[-1]) for run in runs)


def range_text(*, first: int, last: int) -> str:
    """Return neighbouring numbers by the first and the last."""
    return str(first) if first == last else f"{first} to {last}"


def number_text(number: int | None) -> str:
    """Return a whole number, or that it is not known."""
    return UNKNOWN if number is None else str(number)


def count_text(number: int, *, one: str, many: str) -> str:
    """Return a count with its noun."""
    return f"{number} {one if number == 1 else many}"


def shortened(name: str) -> str:
    """Return a name for a sentence, an end that would fill lines replaced by an ellipsis: the data have it whole."""
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1].rstrip()}…"
