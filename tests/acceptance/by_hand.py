"""Traces written by hand, a loss here and one there, and a whole route of fibres judged by them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from service.vocabulary.findings.finding import FindingDocument
from tests.acceptance.trials import judge_route
from tests.factories import (
    Body,
    criteria_of,
    layout_of,
    make_criteria,
    make_design,
    make_otdr,
    make_sections,
    sealed,
    splice_criterion,
    stored,
)
from tests.unit.judgement.judging import finding_of
from worker.judgement.judge import FibreJudgement, Rules

LAUNCH_M, RECEIVE_M = 500.0, 300.0
# Losses by metres from an end: whole metres or not.
Losses = Mapping[int, float] | Mapping[float, float]
BOTH = make_criteria(
    criteria=[splice_criterion(), splice_criterion(code="SPLICE-1310", wavelength_nm=1310)],
)


def make_route(*lengths_m: float, **changes: Any) -> Body:
    """Return the usual route with sections of other lengths."""
    return make_design(closures=len(lengths_m) - 1, sections=make_sections(lengths_m), **changes)


def trace(
    design: Body,
    *,
    at_m: Losses,
    end_m: float,
    is_forward: bool = True,
    scale: float = 1.0,
    reaches_end: bool = True,
    pair_db: float = 0.3,
    **changes: Any,
) -> Body:
    """Return a trace with losses at fibre distances from its own end, all distances longer by the index's error."""
    near, far = (("A", LAUNCH_M), ("B", RECEIVE_M)) if is_forward else (("B", RECEIVE_M), ("A", LAUNCH_M))
    spots = [(0.0, "reflective", pair_db), *((metre, "non_reflective", loss) for metre, loss in sorted(at_m.items()))]
    if reaches_end:
        spots.append((end_m, "reflective", pair_db))
    events = [
        {"distance_m": round((near[1] + metre) * scale, 2), "kind": kind, "loss_db": loss}
        for metre, kind, loss in spots
    ]
    behind_m = far[1] if reaches_end else 0.0
    events.append({"distance_m": round((near[1] + end_m + behind_m) * scale, 2), "kind": "end"})
    return make_otdr(from_site=near[0], to_site=far[0], design=design, events=events, **changes)


def there_and_back(design: Body, from_a_m: Losses, *, end_m: float, **changes: Any) -> list[Body]:
    """Return a trace from each end of a fibre that loses so much at distances from A."""
    from_b_m = {end_m - metre: loss for metre, loss in from_a_m.items()}
    return [
        trace(design, at_m=from_a_m, end_m=end_m, **changes),
        trace(design, at_m=from_b_m, end_m=end_m, is_forward=False, **changes),
    ]


def with_total(record: Body, *, loss_db: float, slope_db_per_km: float = 0.19) -> Body:
    """Return a trace with its total between its two connections, and one slope on all stretches but what it says."""
    first, *middle, last, _ = record["events"]
    for event in (*middle, last):
        event.setdefault("attenuation_db_per_km", slope_db_per_km)
    record["total_loss"] = {"loss_db": loss_db, "from_m": first["distance_m"], "to_m": last["distance_m"]}
    return record


def judge_fibres(
    traces: Mapping[int, Iterable[Body]],
    *,
    design: Body,
    criteria: Body | None = None,
    sites: Sequence[str] = ("C1", "C2"),
) -> dict[int, FibreJudgement]:
    """Judge the fibres of one route together, their closures sealed."""
    layout = layout_of(design)
    rules = Rules(layout, criteria_of(criteria))
    closed = rules.read(map(stored, sealed(sites=sites)))
    return judge_route(
        layout, rules, {fibre: [*closed, *rules.read(map(stored, own))] for fibre, own in traces.items()}
    )


def outcome(judgement: FibreJudgement, criterion: str, *, site: str | None = None) -> str:
    """Return how a criterion was decided."""
    return str(finding_of(judgement, criterion, site=site)["outcome"])


def distances_m(finding: FindingDocument) -> list[str | None]:
    """Return the distance of each reading; none where nothing was seen."""
    return [reading.get("distance_m") for reading in finding["readings"]]
