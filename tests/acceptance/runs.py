"""Trials of many routes on all cores: a route is drawn, judged and scored in one process."""

import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache
from multiprocessing import get_context
from typing import TypeVar

from tests.acceptance.fault_score import FAULT_RULES, FaultScore
from tests.acceptance.geometry_score import GeometryScore
from tests.acceptance.people_score import PeopleScore
from tests.acceptance.placing_score import PlacingScore
from tests.acceptance.trials import SPLICE_LIMIT_DB, JudgedFibre, judge_trial
from tests.acceptance.work_score import WorkScore, score_work
from tests.simulator.faults import PAIRED, PEOPLE, FaultKind
from tests.simulator.geometry import GEOMETRIES, USUAL
from tests.simulator.trial import faulty_trial, honest_trial, marginal_trial

FIBRES = 24
HONEST_ROUTES = 126
FAULTY_ROUTES = 13
# What is wrong with fibres and instruments; what people do to the papers is scored by itself.
WORK_FAULTS = tuple(kind for kind in FaultKind if kind not in PEOPLE)
# `python -m tests.acceptance` runs all geometries, with 300 routes each.
SETTLED = (
    "plain",
    "usual",
    "rough_excess",
    "off_design",
    "grouped",
    "grouped_off_design",
    "indices_apart_stated",
    "indices_apart_unstated",
    "several_pulses",
    "all_at_once",
)
SETTLED_ROUTES = 8
# What nineteen in twenty of are said, from some size on. Fibres swapped at one end leave each reading true of a fibre:
# nothing in them says of which.
SAID = tuple(sorted(PEOPLE - {FaultKind.SWAPPED_FROM_B, FaultKind.DELETED_EVENT}))
SAID_ROUTES = 12
# Of one route the papers of so many fibres: of most the crew is honest, or there were nothing to hold them against.
FAULTS_OF_A_ROUTE = 2
# Routes of each fault whose work lists are done as told.
PLAYED_ROUTES = 4
_HONEST_SEED, _FAULTY_SEED, _GEOMETRY_SEED, _PEOPLE_SEED, _PLAYED_SEED = 1, 1001, 2001, 3001, 7001
Work = TypeVar("Work")
Score = TypeVar("Score")


@dataclass(kw_only=True)
class Alarms:
    """Honest fibres of which something was said that is no fact about them, by what was said."""

    fibres: int = 0
    raised: list[str] = field(default_factory=list)

    def add(self, fibre: JudgedFibre) -> None:
        """Count what is said of a fibre on which nothing went wrong."""
        self.fibres += 1
        document = fibre.judgement.document
        spoken = [name for name in ("breaks", "short_traces", "unlike_traces", "echoes") if document.get(name)]
        spoken += sorted(fibre.suspected_of) + sorted(fibre.left_open)
        spoken += [f"stray event at {one['from_a_m']} m" for one in document["unexpected_events"]]
        spoken += [f"{one['criterion']} fails" for one in fibre.findings if one["outcome"] == "nonconforming"]
        if spoken:
            self.raised.append(f"{fibre.name}: {', '.join(spoken)}")

    def merge(self, other: "Alarms") -> None:
        """Add what was counted elsewhere."""
        self.fibres += other.fibres
        self.raised += other.raised


@dataclass(frozen=True, kw_only=True)
class Scores:
    """What trials of one kind of route came to."""

    placing: PlacingScore = field(default_factory=PlacingScore)
    alarms: Alarms = field(default_factory=Alarms)
    faults: FaultScore = field(default_factory=FaultScore)

    def merge(self, other: "Scores") -> None:
        """Add what was scored elsewhere."""
        self.placing.merge(other.placing)
        self.alarms.merge(other.alarms)
        self.faults.merge(other.faults)


@cache
def honest_scores() -> Scores:
    """Return the scores of honest routes, once for all tests."""
    return run_trials([(_HONEST_SEED + number, None) for number in range(HONEST_ROUTES)])[None]


@cache
def faulty_scores() -> Mapping[FaultKind | None, Scores]:
    """Return the scores of routes with each kind of fault, once for all tests."""
    return run_trials([(_FAULTY_SEED + number, kind) for kind in WORK_FAULTS for number in range(FAULTY_ROUTES)])


def run_trials(work: Sequence[tuple[int, FaultKind | None]]) -> Mapping[FaultKind | None, Scores]:
    """Score a route for each seed and kind of fault."""
    merged: dict[FaultKind | None, Scores] = {}
    for (_, kind), scores in zip(work, _on_all_cores(_score_one, work), strict=True):
        merged.setdefault(kind, Scores()).merge(scores)
    return merged


def score_route(seed: int, kind: FaultKind | None) -> Scores:
    """Draw, judge and score one route."""
    scores = Scores()
    # Some faults take two fibres.
    fibres = 2 * FIBRES if kind in PAIRED else FIBRES
    trial = (
        honest_trial(seed=seed, fibres=fibres) if kind is None else faulty_trial(seed=seed, fibres=fibres, kind=kind)
    )
    for fibre in judge_trial(trial):
        scores.placing.add(fibre)
        if kind is None:
            scores.alarms.add(fibre)
        fault = trial.fault_of(fibre.number)
        if fault is not None and fault.kind in FAULT_RULES and fault.fibre == fibre.number:
            scores.faults.add(fibre, fault)
    return scores


@cache
def settled_geometries() -> Mapping[str, GeometryScore]:
    """Return the scores of the geometries that tests hold the judge to, once for all tests."""
    return dict(run_geometries(SETTLED, routes=SETTLED_ROUTES))


def run_geometries(names: Sequence[str], *, routes: int) -> Iterator[tuple[str, GeometryScore]]:
    """Score so many routes of each geometry, tested by honest people: every second fibre has splices near the limit."""
    work = [(name, _GEOMETRY_SEED + number) for name in names for number in range(routes)]
    merged = {name: GeometryScore() for name in names}
    for number, ((name, _), score) in enumerate(zip(work, _on_all_cores(score_geometry, work), strict=True), start=1):
        merged[name].merge(score)
        if number % routes == 0:
            yield name, merged[name]


def score_geometry(one: tuple[str, int]) -> GeometryScore:
    """Draw, judge and score one route of a geometry: one or two tubes of twelve, where it has as many fibres."""
    name, seed = one
    score, geometry = GeometryScore(routes=1), GEOMETRIES[name]
    fibres = geometry.fibres if seed % 2 else max(geometry.fibres // 2, 2)
    for fibre in judge_trial(marginal_trial(seed=seed, fibres=fibres, geometry=geometry, limit_db=SPLICE_LIMIT_DB)):
        score.add(fibre)
    return score


@cache
def people_said() -> Mapping[FaultKind, PeopleScore]:
    """Return what is said of papers that people changed, once for all tests."""
    return dict(run_people(SAID, routes=SAID_ROUTES))


def run_people(kinds: Collection[FaultKind], *, routes: int) -> Iterator[tuple[FaultKind, PeopleScore]]:
    """Score so many usual routes with each thing that people do to papers."""
    work = [(kind, _PEOPLE_SEED + number) for kind in sorted(kinds) for number in range(routes)]
    merged = {kind: PeopleScore() for kind in kinds}
    for number, ((kind, _), score) in enumerate(zip(work, _on_all_cores(score_people, work), strict=True), start=1):
        merged[kind].merge(score)
        if number % routes == 0:
            yield kind, merged[kind]


def score_people(one: tuple[FaultKind, int]) -> PeopleScore:
    """Draw, judge and score one route on which somebody did the same to the papers of a few fibres."""
    kind, seed = one
    score = PeopleScore()
    trial = faulty_trial(seed=seed, fibres=FIBRES, kind=kind, geometry=USUAL, most=FAULTS_OF_A_ROUTE)
    for fibre in judge_trial(trial):
        fault = trial.fault_of(fibre.number)
        if fault is not None and fault.fibre == fibre.number:
            score.add(fibre, fault)
    return score


@cache
def worked_off() -> Mapping[FaultKind, WorkScore]:
    """Return what came of work lists that were done as told, once for all tests."""
    return dict(run_work_lists(routes=PLAYED_ROUTES))


def run_work_lists(*, routes: int) -> Iterator[tuple[FaultKind, WorkScore]]:
    """Do what the work lists of so many routes with each fault ask for."""
    work = [(kind, _PLAYED_SEED + number) for kind in FaultKind for number in range(routes)]
    merged = {kind: WorkScore() for kind in FaultKind}
    for number, ((kind, _), score) in enumerate(zip(work, _on_all_cores(score_work, work), strict=True), start=1):
        merged[kind].merge(score)
        if number % routes == 0:
            yield kind, merged[kind]


def _score_one(one: tuple[int, FaultKind | None]) -> Scores:
    return score_route(*one)


def _on_all_cores(score: Callable[[Work], Score], work: Sequence[Work]) -> Iterator[Score]:
    # Started anew, not forked: a test process may have threads.
    with ProcessPoolExecutor(max_workers=os.cpu_count(), mp_context=get_context("spawn")) as pool:
        yield from pool.map(score, work, chunksize=4)
