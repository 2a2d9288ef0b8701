"""How required findings came out, counted: by segment, and those that are undetermined by reason."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from service.vocabulary.words import Force, Outcome
from worker.judgement.fibre.findings import Finding


class Counts(NamedTuple):
    """How many required findings came out each way."""

    conforming: int = 0
    nonconforming: int = 0
    undetermined: int = 0

    @property
    def outcome(self) -> Outcome:
        """What they come to: one that does not conform is enough, and no finding proves nothing."""
        if self.nonconforming:
            return Outcome.NONCONFORMING
        if self.undetermined or not self.conforming:
            return Outcome.UNDETERMINED
        return Outcome.CONFORMING


class Missing(NamedTuple):
    """How many required findings of a criterion are undetermined in a segment for one reason; none is empty."""

    segment: str
    criterion: str
    reason: str
    findings: int


def count_required(segments: Iterable[str], findings: Iterable[Finding]) -> dict[str, Counts]:
    """Count required findings by segment and outcome."""
    required = ((one.judged.outcome, one.segments) for one in findings if one.criterion.force is Force.REQUIRED)
    return count_outcomes(segments, required)


def count_outcomes(segments: Iterable[str], required: Iterable[tuple[Outcome, Sequence[str]]]) -> dict[str, Counts]:
    """Count the outcomes of required findings in each of their segments."""
    counts = {segment: dict.fromkeys(Outcome, 0) for segment in segments}
    for outcome, own in required:
        for segment in own:
            counts[segment][outcome] += 1
    return {segment: Counts(*own.values()) for segment, own in counts.items()}


def counts_in(segment: str, counted: Iterable[Mapping[str, Counts]]) -> Counts:
    """Add a segment up by the counts of each fibre, and of the findings about several."""
    own = [counts[segment] for counts in counted if segment in counts]
    return Counts(*map(sum, zip(*own, strict=True)))


def missing_of(findings: Iterable[Finding]) -> list[Missing]:
    """Return what is missing of the findings, by segment, criterion and reason."""
    counter = Counter(
        (segment, finding.code, "" if finding.reason is None else finding.reason.value)
        for finding in findings
        if finding.judged.outcome is Outcome.UNDETERMINED and finding.is_required
        for segment in finding.segments
    )
    return [Missing(*key, number) for key, number in sorted(counter.items())]
