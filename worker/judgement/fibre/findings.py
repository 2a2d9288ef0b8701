"""Findings as values: a value, or bounds of one, held against a limit, and what it is about; and findings counted."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple, TypeVar

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.joints import Population
from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.findings.words import Grade, Outcome, Reason
from service.vocabulary.records.words import Side
from worker.judgement.fibre.losses import PlainLosses
from worker.judgement.numbers.exact import Exact
from worker.judgement.numbers.limits import Limit, hold

_CONFORMING, _REQUIRED = Outcome.CONFORMING, Force.REQUIRED
_RUNS_KEPT = 1024
T = TypeVar("T")


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


@dataclass(frozen=True, eq=False, slots=True)
class JointRun:
    """Joints of one kind in route order, each alone at its place, with the index of that among the fibre's places.

    One value for all fibres that are spliced alike, by which is kept what is made ready for its joints.
    """

    joints: tuple[Joint, ...]
    places: tuple[int, ...]

    def pick(self, by_place: Sequence[T]) -> Sequence[T]:
        """Return what is said of the run's joints, out of what is said of all places."""
        first, last = self.places[0], self.places[-1]
        is_in_a_row = last - first + 1 == len(self.places)
        return by_place[first : last + 1] if is_in_a_row else [by_place[place] for place in self.places]


class RecordedValues(NamedTuple):
    """What one record says of each joint of a run, in 0.001 dB."""

    records: Sequence[str]
    values_mdb: Sequence[int]


class PlainFindings(NamedTuple):
    """Findings of one criterion about some joints of a run in a row, which all conform: what each says, as columns.

    Of the joints from `first` until `end`: a value in 0.0001 dB where there is a limit, and `shown`, what it rests on,
    which each finding says after some words that are the same for all. `in_full` gives them one by one.
    """

    criterion: Criterion
    limit: Limit | None
    fibre: int
    run: JointRun
    first: int
    end: int
    said: str
    values_tenth_mdb: Sequence[int]
    shown: PlainLosses | RecordedValues
    in_full: Callable[[], Iterable[Finding]]

    @property
    def joints(self) -> tuple[Joint, ...]:
        """The joints that they are about, in order."""
        return self.run.joints[self.first : self.end]


class FibreFindings:
    """All findings of a fibre in order, those that plainly conform as columns until somebody asks for each."""

    def __init__(self, found: Iterable[Finding | PlainFindings]) -> None:
        self.found = tuple(found)

    @cached_property
    def every(self) -> tuple[Finding, ...]:
        """Each by itself."""
        return tuple(
            [one for own in self.found for one in (own.in_full() if isinstance(own, PlainFindings) else (own,))]
        )

    @cached_property
    def still_open(self) -> tuple[Finding, ...]:
        """Those that do not conform."""
        return tuple([one for one in self.found if isinstance(one, Finding) and not one.is_good])

    def joints_by(self, criteria: Collection[str]) -> set[tuple[str | None, int | None]]:
        """Return the joints, by site and position, that findings by some criteria are about."""
        joints: set[tuple[str | None, int | None]] = set()
        for one in self.found:
            if one.criterion.code in criteria:
                if isinstance(one, Finding):
                    joints.add((one.site, one.position))
                else:
                    joints |= _joints_of(one.run, one.first, one.end)
        return joints

    def __iter__(self) -> Iterator[Finding]:
        """Give each by itself."""
        return iter(self.every)


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


def count_required(segments: Iterable[str], findings: Iterable[Finding | PlainFindings]) -> dict[str, Counts]:
    """Count required findings by segment and outcome."""
    alike: Counter[tuple[Outcome, tuple[str, ...]]] = Counter()
    for one in findings:
        if one.criterion.force is not _REQUIRED:
            continue
        if isinstance(one, Finding):
            alike[one.judged.outcome, one.segments] += 1
        else:
            for segment, number in _joints_by_segment(one.run, one.first, one.end):
                alike[_CONFORMING, (segment,)] += number
    return count_outcomes(segments, alike)


@lru_cache(maxsize=_RUNS_KEPT)
def _joints_of(run: JointRun, first: int, end: int) -> frozenset[tuple[str, int]]:
    return frozenset([(joint.site, joint.position) for joint in run.joints[first:end]])


@lru_cache(maxsize=_RUNS_KEPT)
def _joints_by_segment(run: JointRun, first: int, end: int) -> tuple[tuple[str, int], ...]:
    return tuple(Counter([joint.segment for joint in run.joints[first:end]]).items())


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
