"""How single values are put into words; a quantity keeps the digits it has in the attached data."""

from collections.abc import Iterable, Mapping

from service.vocabulary.design.design import FibreRange
from service.vocabulary.quantities import Value
from worker.package.data.findings import Finding
from worker.package.phrases import UNKNOWN, range_text, words

LEAST = "≥"
A_TO_B, B_TO_A = "a_to_b", "b_to_a"
DIRECTIONS = {A_TO_B: "A to B", B_TO_A: "B to A"}


def value_text(finding: Finding) -> str:
    """Return a finding's value, or the bounds it is known to lie within."""
    if finding.value is not None:
        return finding.value
    if finding.low is not None and finding.high is not None:
        return f"{finding.low} to {finding.high}"
    return UNKNOWN


def limit_text(finding: Finding) -> str:
    """Return a finding's limit; one that is the least that is allowed says so."""
    limit = finding.limit or UNKNOWN
    return f"{LEAST}{limit}" if finding.is_least else limit


def grade_text(finding: Finding) -> str:
    """Return how firmly a decision stands: its grade, the guard band, and whether only the fallback was kept."""
    texts = [finding.grade] if finding.grade is not None else []
    if finding.uncertainty is not None:
        texts.append(f"guard band {finding.uncertainty}")
    if finding.by_fallback:
        texts.append("by fallback after documented attempts")
    return ", ".join(texts)


def fibre_text(finding: Finding) -> str:
    """Return a finding's fibre, or that it is about all fibres together."""
    return str(finding.fibre) if finding.fibre is not None else "all"


def reading_text(finding: Finding, direction: str) -> str:
    """Return what was read in one direction; what stayed unseen lies within plus and minus the threshold."""
    texts = []
    for reading in finding.readings:
        if reading.get("direction") == direction:
            if "value" in reading:
                texts.append(reading["value"])
            elif "within" in reading:
                texts.append(f"±{reading['within']}")
    return " / ".join(texts) or UNKNOWN


def place_text(finding: Finding) -> str:
    """Return the joint's site and side, the section, or the two ends of a link; of many fibres, their segments too."""
    place = _place_text(finding)
    return place if finding.fibre is not None else f"{', '.join(finding.segments)}: {place}"


def ranges_text(ranges: Iterable[FibreRange]) -> str:
    """Return fibre numbers as ranges."""
    return ", ".join(range_text(first=r.first, last=r.last) for r in ranges)


def texts_of(value: Value) -> Mapping[str, str]:
    """Return each plain member of a value that is known, in its canonical text."""
    members = value.model_dump(exclude_none=True).items()
    return {name: str(member) for name, member in members if not isinstance(member, dict | list | tuple)}


def _place_text(finding: Finding) -> str:
    if finding.site is not None and finding.from_site is not None:
        return f"{finding.site}, of {finding.from_site} to {finding.to_site}"
    if finding.site is not None:
        return f"{finding.site}, {words(finding.side)}" if finding.side is not None else finding.site
    if finding.section is not None:
        return f"section {finding.section}"
    if finding.from_site is not None:
        return f"{finding.from_site} to {finding.to_site}"
    return UNKNOWN
