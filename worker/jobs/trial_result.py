"""What comes of a trial: fibres added up run by run, and at the end what they come to together."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from service.storage.verdicts import FibreVersions
from service.vocabulary.canonical import canonical_json
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import OutcomeCounts, SpotsDocument
from service.vocabulary.findings.trial import ChangedFibres, TrialResult
from service.vocabulary.findings.words import Outcome
from worker.jobs.judging import PreparedRules
from worker.judgement.documents.spots import read_spots, write_spots
from worker.judgement.fibre.findings import Counts
from worker.judgement.judge import FibreJudgement
from worker.judgement.route.pooling import locate_sites
from worker.judgement.route.settle import JudgedFibre
from worker.judgement.rules.attainable import attainability
from worker.judgement.traces.sightings import SpanSightings
from worker.judgement.traces.spots import RouteSpots

_Judged = tuple[FibreVersions, FibreJudgement]


@dataclass(frozen=True, kw_only=True)
class CurrentVerdict:
    """Where a route and some of its fibres stand, by fibre number, when a run reads them."""

    route_version: int
    digest: str | None
    counts: Mapping[int, Mapping[str, OutcomeCounts]]


@dataclass(frozen=True, kw_only=True)
class Progress:
    """How far a trial is: what the fibres show of where joints lie, then what comes of them by that.

    `spots` are found once every fibre was looked at; until then `sighted` holds what those so far show. Findings are
    added up by criterion, and fibres by the outcome that stands.
    """

    first_route_version: int
    last_route_version: int
    sighted: tuple[tuple[SpanSightings, ...], ...] = ()
    spots: tuple[SpotsDocument, ...] | None = None
    standing_digest: str | None = None
    fibres: tuple[JudgedFibre, ...] = ()
    findings: Mapping[str, OutcomeCounts] = field(default_factory=dict)
    compared: Mapping[str, OutcomeCounts] = field(default_factory=dict)
    not_judged: int = 0

    @property
    def fibres_done(self) -> int:
        """How many fibres, from the first on, were looked at, or once it is known where joints lie, tried."""
        return len(self.sighted if self.spots is None else self.fibres)

    def spots_in(self, layout: Layout) -> RouteSpots:
        """Return where the joints of a route lie as far as is known."""
        return RouteSpots.as_designed(layout) if self.spots is None else read_spots(layout, self.spots)


def carry_on_sighting(before: Progress, judged: Sequence[_Judged], by: PreparedRules) -> Progress:
    """Return the progress with more fibres looked at; after the last of them, with where they show the joints."""
    shown = (one.contributions for _, one in judged)
    sighted = (*before.sighted, *(() if own is None else own.sightings for own in shown))
    if len(sighted) < by.layout.design.fibre_count:
        return replace(before, sighted=sighted)
    spots = locate_sites(by.layout, by.criteria.placing, dict(enumerate(sighted, 1)))
    return replace(before, sighted=(), spots=tuple(write_spots(spots)))


def carry_on(before: Progress, judged: Sequence[_Judged], standing: CurrentVerdict) -> Progress:
    """Return the progress with more fibres tried."""
    tried = [judgement for _, judgement in judged]
    return replace(
        before,
        last_route_version=standing.route_version,
        standing_digest=standing.digest,
        fibres=(*before.fibres, *map(_settled_by, tried)),
        findings=_add(
            before.findings,
            ((item["criterion"], item["outcome"]) for one in tried for item in one.document["findings"]),
        ),
        compared=_add(
            before.compared,
            (
                (_outcome_of(map(_numbers, standing.counts[one.fibre].values())), _outcome_of(one.counts.values()))
                for one in tried
                if one.counts and standing.counts.get(one.fibre)
            ),
        ),
        not_judged=before.not_judged + sum(one.problem is not None for one in tried),
    )


def result_of(progress: Progress, by: PreparedRules, spots: RouteSpots) -> bytes:
    """Return what the fibres come to together, as JSON."""
    verdict = by.settle(progress.fibres, spots)
    findings = _add(progress.findings, ((item["criterion"], item["outcome"]) for item in verdict.document["findings"]))
    changes = _changes(progress)
    result: TrialResult = {
        "first_route_version": progress.first_route_version,
        "last_route_version": progress.last_route_version,
        "standing_digest": progress.standing_digest,
        "segments": [
            {"id": segment.id, **verdict.document["segments"][segment.id]} for segment in by.layout.design.segments
        ],
        "criteria": [
            {
                "code": criterion.code,
                "quantity": criterion.quantity,
                "force": criterion.force,
                "counts": findings.get(criterion.code, _no_counts()),
            }
            for criterion in by.criteria.criteria
        ],
        "fibres_compared": sum(sum(_numbers(tried)) for tried in progress.compared.values()),
        "fibres_changed": sum(change["fibres"] for change in changes),
        "changes": changes,
        "fibres_not_judged": progress.not_judged,
        "reports": attainability(by.layout, by.criteria),
    }
    return canonical_json(result)


def _settled_by(judgement: FibreJudgement) -> JudgedFibre:
    """Return what settling needs, less what only suspicions are made of: a trial tells none, and it is the bulk."""
    fibre = JudgedFibre.of(judgement)
    own = fibre.contributions
    return fibre if own is None else replace(fibre, contributions=own._replace(traces=(), estimates=(), sightings=()))


def _changes(progress: Progress) -> list[ChangedFibres]:
    return [
        {"standing": standing, "tried": tried, "fibres": fibres}
        for standing in Outcome
        for tried, fibres in zip(Outcome, _numbers(progress.compared.get(standing, _no_counts())), strict=True)
        if tried is not standing and fibres
    ]


def _add(before: Mapping[str, OutcomeCounts], found: Iterable[tuple[str, str]]) -> dict[str, OutcomeCounts]:
    counts = {key: OutcomeCounts(**own) for key, own in before.items()}
    for key, outcome in found:
        counts.setdefault(key, _no_counts())[outcome] += 1  # type: ignore[literal-required]
    return counts


def _outcome_of(counts: Iterable[tuple[int, int, int]]) -> Outcome:
    """Return what a fibre's required findings in all its segments come to."""
    return Counts(*map(sum, zip(*counts, strict=True))).outcome


def _numbers(counts: OutcomeCounts) -> tuple[int, int, int]:
    return counts["conforming"], counts["nonconforming"], counts["undetermined"]


def _no_counts() -> OutcomeCounts:
    return OutcomeCounts(conforming=0, nonconforming=0, undetermined=0)
