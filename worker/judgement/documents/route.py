"""Write what fibres contribute to their route and what the route comes to; read back what is stored of it."""

from collections.abc import Iterable, Mapping, Sequence

from service.vocabulary.findings.finding import (
    VERDICT_FORM,
    OutcomeCounts,
    SegmentOutcome,
    SpotsDocument,
    VerdictDocument,
    WorkDocument,
)
from service.vocabulary.findings.suspicion import Suspicion, SuspicionDocument, SuspicionKind
from worker.judgement.documents.findings import write_finding
from worker.judgement.fibre.contributions import (
    Contributions,
    ContributionsDocument,
    EstimateSums,
    LinkOutline,
    PartialSums,
)
from worker.judgement.fibre.findings import Counts, Finding
from worker.judgement.fibre.glass import GlassLosses
from worker.judgement.history.acts import TraceOutline
from worker.judgement.traces.sightings import SpanSightings


def write_contributions(contributions: Contributions) -> ContributionsDocument:
    """Write what a fibre contributes to its route."""
    return {
        "parts": [list(row) for row in contributions.sums],
        "traces": [list(row) for row in contributions.traces],
        "links": [list(row) for row in contributions.links],
        "estimates": [list(row) for row in contributions.estimates],
        "seen": [_suspicion(one) for one in contributions.suspicions],
        "is_dark": contributions.is_dark,
        "glass": [list(row) for row in contributions.glass],
        "sightings": [list(row) for row in contributions.sightings],
    }


def read_contributions(stored: ContributionsDocument) -> Contributions:
    """Return what a fibre contributes, as it was written."""
    return Contributions(
        sums=tuple(
            [
                PartialSums(criterion, segment, tuple(sites), tuple(map(tuple, columns)))
                for criterion, segment, sites, columns in stored["parts"]
            ]
        ),
        traces=tuple(map(TraceOutline._make, stored["traces"])),
        links=tuple(map(LinkOutline._make, stored["links"])),
        estimates=tuple(map(EstimateSums._make, stored["estimates"])),
        suspicions=tuple(
            [
                Suspicion(
                    SuspicionKind(one["kind"]),
                    tuple(one["fibres"]),
                    tuple(one["records"]),
                    one["detail"],
                    one["chance"],
                )
                for one in stored["seen"]
            ]
        ),
        is_dark=stored["is_dark"],
        glass=tuple(
            [GlassLosses(nm, tuple(sections), route, beyond) for nm, sections, route, beyond in stored.get("glass", [])]
        ),
        sightings=tuple(
            [
                SpanSightings(low, high, pulse_ns, tuple(at_cm), tuple(rise_mdb))
                for low, high, pulse_ns, at_cm, rise_mdb in stored.get("sightings", [])
            ]
        ),
    )


def write_counts(counts: Mapping[str, Counts]) -> dict[str, OutcomeCounts]:
    """Write how many findings came out each way, by segment."""
    return {segment: _outcome_counts(own) for segment, own in counts.items()}


def read_counts(stored: Mapping[str, OutcomeCounts]) -> dict[str, Counts]:
    """Return how many findings came out each way, as they were written."""
    return {segment: Counts(**own) for segment, own in stored.items()}


def write_segment(counts: Counts) -> SegmentOutcome:
    """Write what a segment's required findings come to."""
    return {"outcome": counts.outcome.value, "counts": _outcome_counts(counts)}


def write_verdict(
    *,
    engine: str,
    design_sha256: str,
    criteria_sha256: str,
    spots: Sequence[SpotsDocument],
    fibres: Sequence[str],
    tolerated_dark: Sequence[int],
    findings: Iterable[Finding],
    work: Iterable[WorkDocument],
    suspicions: Iterable[Suspicion],
    segments: Mapping[str, Counts],
) -> VerdictDocument:
    """Write what a route comes to."""
    document: VerdictDocument = {
        "form": VERDICT_FORM,
        "engine": engine,
        "design_sha256": design_sha256,
        "criteria_sha256": criteria_sha256,
        "spots": list(spots),
        "fibres": list(fibres),
        "findings": [write_finding(one) for one in findings],
        "suspicions": [_suspicion(one) for one in suspicions],
        "segments": {segment: write_segment(counts) for segment, counts in segments.items()},
    }
    orders = list(work)
    if orders:
        document["work"] = orders
    if tolerated_dark:
        document["tolerated_dark"] = list(tolerated_dark)
    return document


def _outcome_counts(counts: Counts) -> OutcomeCounts:
    conforming, nonconforming, undetermined = counts
    return {"conforming": conforming, "nonconforming": nonconforming, "undetermined": undetermined}


def _suspicion(one: Suspicion) -> SuspicionDocument:
    return {
        "kind": one.kind.value,
        "fibres": list(one.fibres),
        "records": list(one.records),
        "detail": one.detail,
        "chance": one.chance,
    }
