"""How single values are put into words; a quantity keeps the digits it has in the attached data."""

from collections.abc import Iterable
from datetime import datetime
from itertools import groupby

from service.vocabulary.design import FibreRange
from service.vocabulary.finding import FindingDocument
from service.vocabulary.quantities import canonical_time

UNKNOWN = "–"  # noqa: RUF001  an en dash, set where a value is not known
A_TO_B, B_TO_A = "a_to_b", "b_to_a"
DIRECTIONS = {A_TO_B: "A to B", B_TO_A: "B to A"}


def value_text(finding: FindingDocument) -> str:
    """Return a finding's value, or the bounds it is known to lie within."""
    if "value_db" in finding:
        return finding["value_db"]
    if "low_db" in finding and "high_db" in finding:
        return f"{finding['low_db']} to {finding['high_db']}"
    return UNKNOWN


def reading_text(finding: FindingDocument, direction: str) -> str:
    """Return what was read in one direction; what stayed unseen lies within plus and minus the threshold."""
    texts = []
    for reading in finding["readings"]:
        if reading["direction"] == direction:
            if "value_db" in reading:
                texts.append(reading["value_db"])
            elif "within_db" in reading:
                texts.append(f"±{reading['within_db']}")
    return " / ".join(texts) or UNKNOWN


def place_text(finding: FindingDocument) -> str:
    """Return the joint's site, or the two ends of a link."""
    if "site" in finding:
        return finding["site"]
    return f"{finding['from_site']} to {finding['to_site']}" if "from_site" in finding else UNKNOWN


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


def ranges_text(ranges: Iterable[FibreRange]) -> str:
    """Return fibre numbers as ranges."""
    return ", ".join(_run_text(first=r.first, last=r.last) for r in ranges)


def numbers_text(numbers: Iterable[int]) -> str:
    """Return whole numbers in rising order, those that follow each other as ranges."""
    # In a run of rising numbers each is as far from its place in the list as the one before.
    runs = [[number for _, number in run] for _, run in groupby(enumerate(numbers), key=lambda one: one[1] - one[0])]
    return ", ".join(_run_text(first=run[0], last=run[-1]) for run in runs)


def number_text(number: int | None) -> str:
    """Return a whole number, or that it is not known."""
    return UNKNOWN if number is None else str(number)


def count_text(number: int, *, one: str, many: str) -> str:
    """Return a count with its noun."""
    return f"{number} {one if number == 1 else many}"


def _run_text(*, first: int, last: int) -> str:
    return str(first) if first == last else f"{first} to {last}"
