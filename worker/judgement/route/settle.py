"""Settling a route: the judged fibres together make the verdict."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import VERDICT_FORM, OutcomeCounts, SegmentOutcome, VerdictDocument
from service.vocabulary.words import Outcome
from worker.judgement.fibre.contributions import FiguresDocument
from worker.judgement.judge import ENGINE_VERSION, FibreJudgement, count_required
from worker.judgement.route.statistics import route_findings
from worker.judgement.route.suspicions import suspicions_of


@dataclass(frozen=True, kw_only=True)
class JudgedFibre:
    """What settling needs of one fibre; one that could not be judged has no figures."""

    number: int
    digest: str
    counts: Mapping[str, OutcomeCounts]
    figures: FiguresDocument | None

    @classmethod
    def of(cls, judgement: FibreJudgement) -> "JudgedFibre":
        """Return what settling needs of a judgement."""
        return cls(number=judgement.fibre, digest=judgement.digest, counts=judgement.counts, figures=judgement.figures)


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What a route comes to."""

    document: VerdictDocument
    content: bytes
    digest: str


def settle(
    *, layout: Layout, criteria: Criteria, design_sha256: str, criteria_sha256: str, fibres: Sequence[JudgedFibre]
) -> Verdict:
    """Put the fibres of a route together; their order does not matter."""
    in_order = sorted(fibres, key=lambda fibre: fibre.number)
    dark = tolerated_dark(
        [fibre.number for fibre in in_order if fibre.figures is not None and fibre.figures["is_dark"]],
        most=criteria.dark_fibres_tolerated,
    )
    counting = [fibre for fibre in in_order if fibre.number not in dark]
    findings = route_findings(layout, criteria, {fibre.number: fibre.figures for fibre in counting})
    segments = [segment.id for segment in layout.design.segments]
    counts = [*(fibre.counts for fibre in counting), count_required(segments, findings)]
    document: VerdictDocument = {
        "form": VERDICT_FORM,
        "engine": ENGINE_VERSION,
        "design_sha256": design_sha256,
        "criteria_sha256": criteria_sha256,
        "fibres": [fibre.digest for fibre in in_order],
        "findings": findings,
        "suspicions": suspicions_of({fibre.number: fibre.figures for fibre in in_order}),
        "segments": {segment: segment_outcome(segment, counts) for segment in segments},
    }
    if dark:
        document["tolerated_dark"] = dark
    content = canonical_json(document)
    return Verdict(document=document, content=content, digest=sha256_hex(content))


def tolerated_dark(dark: Sequence[int], *, most: int) -> list[int]:
    """Return the tolerated ones of the dark fibres; of more than are tolerated none is, for nobody has said which."""
    return list(dark) if len(dark) <= most else []


def segment_outcome(segment: str, counted: Iterable[Mapping[str, OutcomeCounts]]) -> SegmentOutcome:
    """Return what a segment comes to by the counts of each fibre, and of the findings about several."""
    own = [counts[segment] for counts in counted if segment in counts]
    counts = OutcomeCounts(
        conforming=sum(count["conforming"] for count in own),
        nonconforming=sum(count["nonconforming"] for count in own),
        undetermined=sum(count["undetermined"] for count in own),
    )
    return {"outcome": outcome_of(counts).value, "counts": counts}


def outcome_of(counts: OutcomeCounts) -> Outcome:
    """Return what required findings come to: one that does not conform is enough, and no finding proves nothing."""
    if counts["nonconforming"]:
        return Outcome.NONCONFORMING
    if counts["undetermined"] or not counts["conforming"]:
        return Outcome.UNDETERMINED
    return Outcome.CONFORMING
