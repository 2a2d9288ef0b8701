"""Trials of many routes on all cores: a route is drawn, judged and scored in one process."""

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache
from multiprocessing import get_context

from tests.acceptance.fault_score import FAULT_RULES, FaultScore
from tests.acceptance.placing_score import PlacingScore
from tests.acceptance.trials import JudgedFibre, judge_trial
from tests.simulator.faults import FaultKind
from tests.simulator.trial import faulty_trial, honest_trial

FIBRES = 24
HONEST_ROUTES = 126
FAULTY_ROUTES = 13
# Two of these faults share two fibres.
_FIBRES_OF = {FaultKind.CROSSED_FIBRES: 2 * FIBRES, FaultKind.COPIED_FIBRE: 2 * FIBRES}
_HONEST_SEED, _FAULTY_SEED = 1, 1001


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
        spoken += sorted(fibre.suspected_of)
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
def all_scores() -> Mapping[FaultKind | None, Scores]:
    """Return the scores of honest routes, and of routes with each kind of fault, once for all tests."""
    work: list[tuple[int, FaultKind | None]] = [(_HONEST_SEED + number, None) for number in range(HONEST_ROUTES)]
    work += [(_FAULTY_SEED + number, kind) for kind in FaultKind for number in range(FAULTY_ROUTES)]
    return run_trials(work)


def run_trials(work: Sequence[tuple[int, FaultKind | None]]) -> Mapping[FaultKind | None, Scores]:
    """Score a route for each seed and kind of fault."""
    merged: dict[FaultKind | None, Scores] = {}
    for (_, kind), scores in zip(work, _score_all(work), strict=True):
        merged.setdefault(kind, Scores()).merge(scores)
    return merged


def score_route(seed: int, kind: FaultKind | None) -> Scores:
    """Draw, judge and score one route."""
    scores = Scores()
    fibres = _FIBRES_OF.get(kind, FIBRES) if kind is not None else FIBRES
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


def _score_all(work: Sequence[tuple[int, FaultKind | None]]) -> Iterator[Scores]:
    # Started anew, not forked: a test process may have threads.
    with ProcessPoolExecutor(max_workers=os.cpu_count(), mp_context=get_context("spawn")) as pool:
        yield from pool.map(_score_one, work, chunksize=4)


def _score_one(one: tuple[int, FaultKind | None]) -> Scores:
    return score_route(*one)
