"""How single values are put into words; a quantity keeps the digits it has in the attached data."""

from collections.abc import Iterable
from datetime import datetime
from itertools import groupby

from service.vocabulary.design.design import FibreRange
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.quantities import canonical_time

UNKNOWN = "–"  # noqa: RUF001  an en dash, set where a value is not known
LEAST = "≥"
A_TO_B, B_TO_A = "a_to_b", "b_to_a"
_LONGEST_NAME = 90
DIRECTIONS = {A_TO_B: "A to B", B_TO_A: "B to A"}


def value_text(finding: FindingDocument) -> str:
    """Return a finding's value, or the bounds it is known to lie within."""
    if "value" in finding:
        return finding["value"]
    if "low" in finding and "high" in finding:
        return f"{finding['low']} to {finding['high']}"
    return UNKNOWN


def limit_text(finding: FindingDocument) -> str:
    """Return a finding's limit; one that is the least that is allowed says so."""
    limit = finding.get("limit", UNKNOWN)
    return f"{LEAST}{limit}" if finding.get("limit_is") == "least" else limit


def grade_text(finding: FindingDocument) -> str:
    """Return how firmly a decision stands: its grade, the guard band, and whether only the fallback was kept."""
    texts = [finding["grade"]] if "grade" in finding else []
    if "uncertainty" in finding:
        texts.append(f"guard band {finding['uncertainty']}")
    if finding.get("by_fallback"):
        texts.append("by fallback after documented attempts")
    return ", ".join(texts)


def fibre_text(finding: FindingDocument) -> str:
    """Return a finding's fibre, or that it is about all fibres together."""
    return str(finding["fibre"]) if "fibre" in finding else "all"


def reading_text(finding: FindingDocument, direction: str) -> str:
    """Return what was read in one direction; what stayed unseen lies within plus and minus the threshold."""
    texts = []
    for reading in finding["readings"]:
        if reading.get("direction") == direction:
            if "value" in reading:
                texts.append(reading["value"])
            elif "within" in reading:
                texts.append(f"±{reading['within']}")
    return " / ".join(texts) or UNKNOWN


def place_text(finding: FindingDocument) -> str:
    """Return the joint's site and side, the section, or the two ends of a link; of many fibres, their segments too."""
    place = _place_text(finding)
    return place if "fibre" in finding else f"{', '.join(finding['segments'])}: {place}"


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


def shortened(name: str) -> str:
    """Return a name for a sentence, an end that would fill lines replaced by an ellipsis: the data have it whole."""
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1].rstrip()}…"


def _place_text(finding: FindingDocument) -> str:
    if "site" in finding:
        return f"{finding['site']}, {words(finding['side'])}" if "side" in finding else finding["site"]
    if "section" in finding:
        return f"section {finding['section']}"
    if "from_site" in finding:
        return f"{finding['from_site']} to {finding['to_site']}"
    return UNKNOWN


def _run_text(*, first: int, last: int) -> str:
    return str(first) if first == last else f"{first} to {last}"
