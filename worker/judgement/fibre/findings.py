"""Findings as values: a value, or bounds of one, held against a limit, and what it is about; and findings counted."""

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.joints import Population
from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Grade, Outcome, Reason
from service.vocabulary.records.words import Side
from worker.judgement.numbers.exact import Exact
from worker.judgement.numbers.limits import Limit, hold

_CONFORMING = Outcome.CONFORMING


class Judgement(NamedTuple):
    """What holding a value against its limit gave; `bounds` are in 1e-12 of the limit's unit."""

    outcome: Outcome
    reason: Reason | None
    detail: str
    bounds: tuple[Exact, Exact] | None = None
    limit: Limit | None = None
    readings: tuple[RecordReading, ...] = ()
    void: tuple[VoidRecord, ...] = ()
    grade: Grade | None = None
    by_fallback: bool = False

    def held(self, low: Exact, high: Exact, limit: Limit) -> "Judgement":
        """Return this judgement with a value held against a limit."""
        held = hold(low=low, high=high, limit=limit)
        return self._replace(
            outcome=held.outcome, reason=held.reason, grade=held.grade, bounds=(low, high), limit=limit
        )


class Finding(NamedTuple):
    """A criterion's judgement of one subject, in the segments that it counts for.

    The subject is a joint by `site` and `position`, one `side` of it, a `section`, or the fibre from one site to
    another; joints taken together are named by their `population` and how many `members` it has.
    """

    criterion: Criterion
    judged: Judgement
    segments: tuple[str, ...]
    fibre: int | None = None
    site: str | None = None
    position: int | None = None
    side: Side | None = None
    section: str | None = None
    from_site: str | None = None
    to_site: str | None = None
    population: Population | None = None
    members: int | None = None

    @property
    def code(self) -> str:
        """The criterion's code."""
        return self.criterion.code

    @property
    def quantity(self) -> Quantity:
        """What the finding is about."""
        return self.criterion.quantity

    @property
    def wavelength_nm(self) -> int | None:
        """The wavelength that the criterion names, if it names one."""
        return self.criterion.at_wavelength_nm

    @property
    def is_required(self) -> bool:
        """Tell whether it decides acceptance."""
        return self.criterion.force is Force.REQUIRED

    @property
    def outcome(self) -> Outcome:
        """What it comes to."""
        return self.judged.outcome

    @property
    def reason(self) -> Reason | None:
        """Why it is undetermined."""
        return self.judged.reason

    @property
    def is_good(self) -> bool:
        """Tell whether it conforms."""
        return self.judged.outcome is _CONFORMING

    @property
    def is_bad(self) -> bool:
        """Tell whether it does not conform."""
        return self.judged.outcome is Outcome.NONCONFORMING


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
    """How many required findings of a criterion are undetermined in a segment for one reason; none is empty.

    What is asked of no segment yet, because the design goes no farther, has an empty segment.
    """

    segment: str
    criterion: str
    reason: str
    findings: int


def count_required(segments: Iterable[str], findings: Iterable[Finding]) -> dict[str, Counts]:
    """Count required findings by segment and outcome."""
    forced = Force.REQUIRED
    alike = Counter([(one.judged.outcome, one.segments) for one in findings if one.criterion.force is forced])
    return count_outcomes(segments, alike)


def count_outcomes(
    segments: Iterable[str], required: Mapping[tuple[Outcome, tuple[str, ...]], int]
) -> dict[str, Counts]:
    """Count the outcomes of required findings in each of their segments, by how many come out alike."""
    counts = {segment: dict.fromkeys(Outcome, 0) for segment in segments}
    for (outcome, own), number in required.items():
        for segment in own:
            counts[segment][outcome] += number
    return {segment: Counts(*own.values()) for segment, own in counts.items()}


def counts_in(segment: str, counted: Iterable[Mapping[str, Counts]]) -> Counts:
    """Add a segment up by the counts of each fibre, and of the findings about several."""
    own = [counts[segment] for counts in counted if segment in counts]
    return Counts(*map(sum, zip(*own, strict=True)))


def missing_of(findings: Iterable[Finding]) -> list[Missing]:
    """Return what is missing of the findings, by segment, criterion and reason."""
    undetermined = Outcome.UNDETERMINED
    unknown = [one for one in findings if one.judged.outcome is undetermined and one.is_required]
    counter = Counter(
        (segment, finding.code, "" if finding.reason is None else finding.reason.value)
        for finding in unknown
        for segment in finding.segments or ("",)
    )
    return [Missing(*key, number) for key, number in sorted(counter.items())]
