"""What is missing from a verdict: required findings that are undetermined, counted."""

from collections import Counter
from collections.abc import Iterable

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.words import Force, Outcome

MissingRow = tuple[str, str, str, int]


def missing_of(findings: Iterable[FindingDocument]) -> list[MissingRow]:
    """Return how many there are by segment, criterion and reason."""
    counter = Counter(
        (segment, finding["criterion"], finding.get("reason", ""))
        for finding in findings
        if finding["outcome"] == Outcome.UNDETERMINED and finding["force"] == Force.REQUIRED
        for segment in finding["segments"]
    )
    return [(*key, number) for key, number in sorted(counter.items())]
