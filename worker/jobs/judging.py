"""Judge stored records fibre by fibre: what the judge step, a submission's snapshot and a trial have in common."""

import math
import time
import traceback
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial
from typing import NamedTuple, Self

import orjson
from sqlmodel import Session

from service.storage.cables import spots_document
from service.storage.criteria import criteria_of
from service.storage.records import StoredEvidence
from service.storage.routes import JudgedBy, design_revision, parse_design
from service.storage.tables import WHOLE_SITE, DesignRevision
from service.storage.verdicts import FibreVersions
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.design.layout import Layout
from worker.jobs.runner import HopelessError
from worker.judgement.documents.spots import read_spots
from worker.judgement.history.acts import Record
from worker.judgement.history.evidence import Evidence
from worker.judgement.history.records import read_record
from worker.judgement.judge import FibreJudgement, Rules, unjudged
from worker.judgement.route.settle import JudgedFibre, Verdict, find_spots, settle
from worker.judgement.traces.spots import RouteSpots

# Enough to be quick, few enough that a splice that comes in meanwhile is judged within the second.
FIBRES_A_RUN = 32
_KEPT_READ = 256
_MOST_RULES = 32
_RULES: dict[tuple[str, str], "PreparedRules"] = {}
_SPOTS: dict[tuple[str, str], RouteSpots] = {}


@dataclass(frozen=True, kw_only=True)
class PreparedRules:
    """A design and criteria by which fibres are judged and a route is settled, with the digests of both."""

    layout: Layout
    criteria: Criteria
    design_sha256: str
    criteria_sha256: str

    @cached_property
    def rules(self) -> Rules:
        """The rules that they come to."""
        return Rules(self.layout, self.criteria)

    @property
    def voids_others(self) -> bool:
        """Whether work on one fibre of a closure voids the readings of others that it holds."""
        return self.criteria.rework_voids is not Voiding.FIBRE

    def find_spots(self, fibres: Iterable[JudgedFibre]) -> RouteSpots:
        """Return where the route's joints lie, by what its fibres contribute."""
        return find_spots(self.layout, self.criteria, fibres)

    def settle(self, fibres: Sequence[JudgedFibre], spots: RouteSpots) -> Verdict:
        """Put a route's fibres together that were judged by these rules and spots."""
        return settle(
            layout=self.layout,
            criteria=self.criteria,
            design_sha256=self.design_sha256,
            criteria_sha256=self.criteria_sha256,
            spots=spots,
            fibres=fibres,
        )


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """What a run reads: which fibres, for which versions, from which records, by which rules and spots of joints."""

    fibres: Sequence[FibreVersions]
    evidence: Sequence[StoredEvidence]
    by: PreparedRules
    spots: RouteSpots


def judge_fibres(
    waiting: Waiting, *, come_forward: Callable[[], None], for_s: float = math.inf
) -> list[tuple[FibreVersions, FibreJudgement]]:
    """Judge fibres from what was read, with no transaction open; after so many seconds the others are left."""
    ends_at = time.monotonic() + for_s
    evidence = EvidenceByFibre(waiting.evidence, by=waiting.by)
    judged = []
    for fibre in waiting.fibres:
        judged.append((fibre, _judge_alone(waiting, evidence, fibre=fibre.number)))
        come_forward()
        if time.monotonic() > ends_at:
            break
    return judged


def rules_from(design: DesignRevision, criteria: Criteria, *, criteria_sha256: str) -> PreparedRules:
    """Return the rules that a design revision and criteria come to."""
    layout = parse_design(design.document)
    return PreparedRules(layout=layout, criteria=criteria, design_sha256=design.sha256, criteria_sha256=criteria_sha256)


def rules_in_force(session: Session, by: JudgedBy) -> PreparedRules:
    """Return the rules by which a route is judged, read once in a process: no version of a design or criteria changes.

    They are known by the digests of both, so that a database restored from a copy cannot be judged by another's.
    """
    key = by.design_sha256, by.criteria_sha256
    kept = _RULES.get(key)
    if kept is None:
        design = design_revision(session, by.project_id, by.route_id, by.design_revision)
        criteria = criteria_of(session, by.project_id, by.criteria_version)
        kept = rules_from(design, criteria, criteria_sha256=by.criteria_sha256)
        if len(_RULES) >= _MOST_RULES:
            # Preparing some again takes less than keeping account of which were used last.
            _RULES.clear()
        _RULES[key] = kept
    return kept


def spots_in_force(session: Session, by: JudgedBy, rules: PreparedRules) -> RouteSpots:
    """Return where the joints of a route were found, read once in a process, or that they are as designed."""
    if by.spots_sha256 is None:
        return RouteSpots.as_designed(rules.layout)
    key = by.design_sha256, by.spots_sha256
    kept = _SPOTS.get(key)
    if kept is None:
        document = spots_document(session, by.project_id, by.route_id, design_sha256=rules.design_sha256)
        kept = read_spots(rules.layout, orjson.loads(document or "[]"))
        if len(_SPOTS) >= _MOST_RULES:
            _SPOTS.clear()
        _SPOTS[key] = kept
    return kept


def _judge_alone(waiting: Waiting, evidence: "EvidenceByFibre", *, fibre: int) -> FibreJudgement:
    """Judge one fibre; where that fails, the fibre says so and no other fibre suffers."""
    by = waiting.by
    try:
        return by.rules.judge(fibre, evidence.of(fibre), spots=waiting.spots.of(fibre))
    except (HopelessError, MemoryError):
        raise
    # Whatever it is. Judging is pure, so that another attempt would end the same: the job would be given up, and one
    # record would keep every fibre of the route from being judged.
    except Exception as error:  # noqa: BLE001
        return unjudged(by.layout, fibre=fibre, problem=_problem_of(error, altered=evidence.count_altered(fibre)))


class EvidenceByFibre:
    """Records handed to each fibre that they are about, read when the first of them asks for it.

    Those about whole sites are kept as they were read, of the others the latest: enough for the fibres of a ribbon,
    which follow each other, and little enough for the records of a whole route.
    """

    def __init__(self, stored: Iterable[StoredEvidence], *, by: PreparedRules) -> None:
        self._by_fibre: dict[int, list[StoredEvidence]] = {}
        for one in stored:
            is_everyones = by.voids_others or WHOLE_SITE in one.fibres
            for fibre in {WHOLE_SITE} if is_everyones else one.fibres:
                self._by_fibre.setdefault(fibre, []).append(one)
        kept = len(self._by_fibre.get(WHOLE_SITE, ())) + _KEPT_READ
        self._read = lru_cache(maxsize=kept)(partial(_read, by.layout))

    def of(self, fibre: int) -> list[Record]:
        """Return what a fibre's own records and those about whole sites say, as far as it can matter on the route."""
        own = self._stored_of(fibre)
        read = [self._read(one.body, StoredFacts.of(one)) for one in own]
        return [record for record in read if record is not None]

    def count_altered(self, fibre: int) -> int:
        """Return how many of a fibre's records no longer have the content that was hashed when they came."""
        return len({one.body for one in self._stored_of(fibre) if one.is_altered})

    def _stored_of(self, fibre: int) -> list[StoredEvidence]:
        return self._by_fibre.get(fibre, []) + self._by_fibre.get(WHOLE_SITE, [])


class StoredFacts(NamedTuple):
    """What the service knows of a record beside its content."""

    is_ended: bool
    clock_is_flagged: bool
    is_annulled: bool
    is_of_other_route: bool

    @classmethod
    def of(cls, stored: StoredEvidence) -> Self:
        """Return what is known of a stored record."""
        return cls(stored.is_ended, stored.clock_is_flagged, stored.is_annulled, stored.is_of_other_route)


def _read(layout: Layout, body: str, facts: StoredFacts) -> Record | None:
    return read_record(layout, Evidence(body=orjson.loads(body), **facts._asdict()))


def _problem_of(error: Exception, *, altered: int) -> str:
    """Say what kind of fault it was and where, and nothing of the records: an error's own words may repeat them."""
    frames = [frame for frame, _ in traceback.walk_tb(error.__traceback__)]
    place = frames[-1].f_globals.get("__name__", "")
    said = f"{type(error).__name__} in {place}"
    return f"{said}; {altered} of its records are not what was hashed when they came" if altered else said
