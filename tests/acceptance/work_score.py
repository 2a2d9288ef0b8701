"""Playing the work list of a route through: whether it names all that is open, and after how many visits nothing is."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument, WorkDocument
from service.vocabulary.findings.words import Outcome
from service.vocabulary.records.record import RECORD, fibres_of
from tests.acceptance.trials import judge_route, trial_criteria
from tests.bodies import Body
from tests.factories import criteria_of, layout_of, stored
from tests.simulator.faults import FaultKind
from tests.simulator.rework import Visit
from tests.simulator.trial import Trial, faulty_trial
from worker.judgement.documents.fibre import write_work
from worker.judgement.documents.findings import write_finding
from worker.judgement.history.acts import Record
from worker.judgement.judge import Rules
from worker.judgement.route.left_out import left_out_findings, left_out_work

FIBRES = 4
# Who tests honestly where somebody's papers hid a bad splice learns of it, and comes again with the splicer; of a loss
# within a trace's threshold of the limit, after a finer trace.
_HIDDEN = {FaultKind.DELETED_EVENT, FaultKind.INVERTED_SIGN}


def most_visits(kind: FaultKind) -> int:
    """Return how many visits a fault may ask for: whoever works on a fibre tests it before leaving."""
    return 3 if kind in _HIDDEN else 1


class Seen(NamedTuple):
    """What keeps a fibre from conforming, and what its work list asks for."""

    is_open: Sequence[FindingDocument]
    work: Sequence[WorkDocument]


class PlayedRoute:
    """A route on trial with all that is posted of it, judged as often as it is looked at."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self._layout: Layout = layout_of(trial.course.design)
        self._criteria: Criteria = criteria_of(trial_criteria())
        self._rules = Rules(self._layout, self._criteria)
        self._of_all: list[Record] = []
        self._of_fibres: dict[int, list[Record]] = defaultdict(list)

    def build(self) -> None:
        """Splice the route, seal it and test it."""
        trial = self.trial
        self._post(chain(trial.site_records(), trial.splice_records(), trial.continuity_records()))
        self._post(chain(trial.power_records(), (trace for trace, _ in trial.traces())))

    def visit(self, number: int, asked: Mapping[int, Sequence[WorkDocument]]) -> None:
        """Let the crew do what was asked of each fibre, and post it."""
        visit = Visit(trial=self.trial, number=number, asked=asked)
        self._post(visit.records())
        self.trial = visit.mended()

    def look(self) -> dict[int, Seen]:
        """Judge every fibre, alone and beside the others."""
        fibres = range(1, self.trial.truth.fibre_count + 1)
        evidence = {fibre: [*self._of_all, *self._of_fibres[fibre]] for fibre in fibres}
        judged = judge_route(self._layout, self._rules, evidence)
        contributions = {fibre: one.contributions for fibre, one in judged.items()}
        left_out = left_out_findings(self._layout, self._criteria, contributions)
        findings = {fibre: [*one.document["findings"]] for fibre, one in judged.items()}
        work = {fibre: [*one.document["work"]] for fibre, one in judged.items()}
        for finding in left_out:
            assert finding.fibre is not None
            findings[finding.fibre].append(write_finding(finding))
        for fibre, item in left_out_work(self._layout, left_out, contributions):
            work[fibre].append(write_work(item))
        return {fibre: Seen(_open(findings[fibre]), work[fibre]) for fibre in fibres}

    def _post(self, bodies: Iterable[Body]) -> None:
        for body in bodies:
            read, fibres = self._rules.read([stored(body)]), fibres_of(RECORD.validate_python(body))
            if not fibres:
                self._of_all += read
            for fibre in fibres:
                self._of_fibres[fibre] += read


@dataclass(kw_only=True)
class WorkScore:
    """What the work lists of some routes came to.

    `visits` are the fibres by how many visits they took, `unsaid` what keeps a fibre from conforming and no item of its
    list names, `left` what does so after as many visits as the fault asks for, all done as told.
    """

    routes: int = 0
    visits: Counter[int] = field(default_factory=Counter)
    acts: Counter[str] = field(default_factory=Counter)
    unsaid: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    @property
    def fibres(self) -> int:
        """How many fibres were judged."""
        return self.visits.total()

    def merge(self, other: "WorkScore") -> None:
        """Add what was scored elsewhere."""
        self.routes += other.routes
        self.visits.update(other.visits)
        self.acts.update(other.acts)
        self.unsaid += other.unsaid
        self.left += other.left

    def describe(self, kind: FaultKind) -> Iterator[str]:
        """Say what was asked for, and what it led to."""
        visits = ", ".join(f"{count} after {number}" for number, count in sorted(self.visits.items()))
        yield (
            f"{kind}: {self.routes} routes, {self.fibres} fibres by visits: {visits}; findings on no list "
            f"{len(self.unsaid)}, left open {len(self.left)}"
        )
        yield f"  asked for: {', '.join(f'{act} {count}' for act, count in self.acts.most_common()) or 'nothing'}"
        yield from (f"  on no list: {one}" for one in self.unsaid)
        yield from (f"  left open: {one}" for one in self.left)


def score_work(one: tuple[FaultKind, int]) -> WorkScore:
    """Draw a route with a fault, look at its lists before it is built and when it is tested, and do what they ask."""
    kind, seed = one
    route = PlayedRoute(faulty_trial(seed=seed, fibres=FIBRES, kind=kind))
    score, needed = WorkScore(routes=1), dict.fromkeys(range(1, FIBRES + 1), 0)
    score.unsaid += _unsaid(seed, route.look())
    route.build()
    for number in range(1, most_visits(kind) + 1):
        seen = route.look()
        score.unsaid += _unsaid(seed, seen)
        score.acts.update(item["act"] for own in seen.values() for item in own.work)
        needed |= {fibre: number for fibre, own in seen.items() if own.is_open}
        if any(own.work for own in seen.values()):
            route.visit(number, {fibre: own.work for fibre, own in seen.items()})
    score.left += [_named(seed, fibre, finding) for fibre, own in route.look().items() for finding in own.is_open]
    score.visits.update(needed.values())
    return score


def _unsaid(seed: int, seen: Mapping[int, Seen]) -> Iterator[str]:
    for fibre, own in seen.items():
        for finding in own.is_open:
            if not any(_is_about(item, finding) for item in own.work):
                yield _named(seed, fibre, finding)


def _is_about(item: WorkDocument, finding: FindingDocument) -> bool:
    """Tell whether an item names a criterion, where it is judged: a test from end to end is about every place."""
    site = finding.get("site")
    is_there = "tests" in item or site is None or site in item["sites"]
    return is_there and any(finding["criterion"] in cause["criteria"] for cause in item["causes"])


def _open(findings: Iterable[FindingDocument]) -> list[FindingDocument]:
    """Return the required findings that do not conform."""
    return [one for one in findings if one["force"] == "required" and one["outcome"] != Outcome.CONFORMING]


def _named(seed: int, fibre: int, finding: FindingDocument) -> str:
    where = f" at {finding['site']}" if "site" in finding else ""
    return f"seed {seed}, fibre {fibre}, {finding['criterion']}{where}, {finding.get('reason', finding['outcome'])}"
