"""Settling a route: the judged fibres together make the verdict."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import VerdictDocument
from worker.judgement.documents.fibre import write_work
from worker.judgement.documents.route import write_verdict
from worker.judgement.documents.spots import write_spots
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.fibre.findings import Counts, Missing, count_required, counts_in, missing_of
from worker.judgement.judge import ENGINE_VERSION, FibreJudgement
from worker.judgement.route.left_out import left_out_findings, left_out_work
from worker.judgement.route.pooling import locate_sites
from worker.judgement.route.statistics import route_findings
from worker.judgement.route.suspicions import suspicions_of
from worker.judgement.traces.spots import RouteSpots


@dataclass(frozen=True, kw_only=True, slots=True)
class JudgedFibre:
    """What settling needs of one fibre; one that could not be judged contributes nothing."""

    number: int
    digest: str
    counts: Mapping[str, Counts]
    contributions: Contributions | None

    @classmethod
    def of(cls, judgement: FibreJudgement) -> "JudgedFibre":
        """Return what settling needs of a judgement."""
        return cls(
            number=judgement.fibre,
            digest=judgement.digest,
            counts=judgement.counts,
            contributions=judgement.contributions,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What a route comes to; `missing` is what the findings about several fibres leave undetermined."""

    document: VerdictDocument
    content: bytes
    digest: str
    missing: tuple[Missing, ...]


def find_spots(layout: Layout, criteria: Criteria, fibres: Iterable[JudgedFibre]) -> RouteSpots:
    """Return where the joints of a route lie, by what its fibres contribute."""
    own = {fibre.number: fibre.contributions.sightings for fibre in fibres if fibre.contributions is not None}
    return locate_sites(layout, criteria.placing, own)


def settle(
    *,
    layout: Layout,
    criteria: Criteria,
    design_sha256: str,
    criteria_sha256: str,
    spots: RouteSpots,
    fibres: Sequence[JudgedFibre],
) -> Verdict:
    """Put the fibres of a route together that were judged by its `spots`; their order does not matter."""
    in_order = sorted(fibres, key=lambda fibre: fibre.number)
    dark = tolerated_dark(
        [fibre.number for fibre in in_order if fibre.contributions is not None and fibre.contributions.is_dark],
        most=criteria.dark_fibres_tolerated,
    )
    # Nothing found of a tolerated dark fibre counts; its digest stays in the verdict, which names all that was judged.
    counting = [fibre for fibre in in_order if fibre.number not in dark]
    contributions = {fibre.number: fibre.contributions for fibre in counting}
    left_out = left_out_findings(layout, criteria, contributions)
    findings = [*route_findings(layout, criteria, contributions), *left_out]
    segments = [segment.id for segment in layout.design.segments]
    counts = [*(fibre.counts for fibre in counting), count_required(segments, findings)]
    document = write_verdict(
        engine=ENGINE_VERSION,
        design_sha256=design_sha256,
        criteria_sha256=criteria_sha256,
        spots=write_spots(spots),
        fibres=[fibre.digest for fibre in in_order],
        tolerated_dark=dark,
        findings=findings,
        work=[{**write_work(item), "fibre": fibre} for fibre, item in left_out_work(layout, left_out, contributions)],
        suspicions=suspicions_of({fibre.number: fibre.contributions for fibre in in_order}),
        segments={segment: counts_in(segment, counts) for segment in segments},
    )
    content = canonical_json(document)
    return Verdict(document=document, content=content, digest=sha256_hex(content), missing=tuple(missing_of(findings)))


def tolerated_dark(dark: Sequence[int], *, most: int) -> list[int]:
    """Return the tolerated ones of the dark fibres; of more than are tolerated none is, for nobody has said which."""
    return list(dark) if len(dark) <= most else []
