"""Link budgets and return losses through the judge, against check values from outside."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    link_criterion,
    make_attenuation,
    make_criteria,
    make_design,
    make_otdr,
    make_sections,
    make_site,
    make_terminal,
    sealed,
    with_events,
)
from tests.published.check_values import BUDGETS, REFERENCES, BudgetCheck, ReferenceCheck, source_of
from tests.published.reflection_values import (
    EVENTS,
    GLASS,
    GLASS_COEFFICIENT_DB,
    GLASS_DB_PER_KM,
    GLASS_INDEX,
    OPEN_ENDS,
    EventsCheck,
    GlassCheck,
)
from tests.unit.judgement.judging import judge


def budgeted_design(*, length_m: float, splices: int, pairs: int) -> Body:
    """Return a route of so much fibre, with connections at both ends and in panels, and splices in closures."""
    panels = [make_site(f"P{number}", kind="patch_panel", termination="factory_cord") for number in range(1, pairs - 1)]
    closures = [make_site(f"C{number}") for number in range(1, splices + 1)]
    sites = [
        make_terminal("A", termination="factory_cord"),
        *panels,
        *closures,
        make_terminal("B", termination="factory_cord"),
    ]
    short_m, count = 100.0, len(sites) - 1
    lengths_m = [*[short_m] * (count - 1), length_m - short_m * (count - 1)]
    return make_design(sites=sites, sections=make_sections(lengths_m))


def held(loss_db: float, *, design: Body, limit: Body, reference_cords: int = 1) -> FindingDocument:
    """Return the finding about a link that was read alike from both ends."""
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    both: Body = {"loss_db": loss_db, "reference_cords": reference_cords}
    bodies = [*sealed(sites=closures), make_attenuation(**both), make_attenuation(from_site="B", to_site="A", **both)]
    criteria = make_criteria(criteria=[link_criterion(limit={"kind": "budget", **limit})])
    [finding] = judge(bodies, design=design, criteria=criteria).document["findings"]
    return finding


@pytest.mark.parametrize("check", BUDGETS, ids=source_of)
def test_the_judge_holds_a_design_to_the_published_budget(check: BudgetCheck) -> None:
    # A criterion has one coefficient for the whole link, the last section's: what others have more is said besides.
    length_km = sum(own_km for own_km, _ in check.sections)
    least_db_per_km = check.sections[-1][1]
    more_db = sum(own_km * (own_db_per_km - least_db_per_km) for own_km, own_db_per_km in check.sections)
    design = budgeted_design(length_m=round(length_km * 1000, 2), splices=check.splices, pairs=check.pairs)
    limit = {
        "attenuation_db_per_km": least_db_per_km,
        "splice_db": check.splice_db,
        "connection_db": check.pair_db,
        "other_db": round(check.other_db + more_db, 3),
    }
    at, above = (
        held(loss_db, design=design, limit=limit) for loss_db in (check.loss_db, round(check.loss_db + 0.001, 3))
    )
    assert (at["limit"], at["outcome"]) == (f"{check.loss_db:.4f}", "conforming")
    assert above["outcome"] == "nonconforming"


@pytest.mark.parametrize("check", REFERENCES, ids=source_of)
def test_the_judge_counts_the_ends_that_the_reference_leaves_in(check: ReferenceCheck) -> None:
    design = budgeted_design(length_m=4000.0, splices=2, pairs=3)
    limit = {"attenuation_db_per_km": 0.4, "splice_db": 0.3, "connection_db": 0.75}
    finding = held(1.0, design=design, limit=limit, reference_cords=check.reference_cords)
    assert finding["limit"] == f"{check.limit_db:.4f}"


def returned(trace: Body, *, design: Body, far_end: str) -> FindingDocument:
    """Return what the judge works out from a trace at A."""
    criterion = {
        "code": "ORL",
        "quantity": "return_loss",
        "basis": "computed",
        "wavelength_nm": 1310,
        "limit_db": 20.0,
        "far_end": far_end,
    }
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    judged = judge([*sealed(sites=closures), trace], design=design, criteria=make_criteria(criteria=[criterion]))
    [finding] = [one for one in judged.document["findings"] if one["site"] == "A"]
    return finding


def lossless(trace: Body, **stated: Any) -> Body:
    """Return a trace whose events lose nothing, each with what is stated of it."""
    return with_events(trace, lambda event: event if event["kind"] == "end" else {**event, "loss_db": 0.0, **stated})


def clean_fibre(length_km: float, *, far_end: str) -> FindingDocument:
    """Return what the judge works out for clean fibre at 1310 nm."""
    design = make_design(closures=0)
    design["sections"][0]["cable_length_m"] = length_km * 1000
    trace = make_otdr(
        design=design,
        wavelength_nm=1310,
        backscatter_db=GLASS_COEFFICIENT_DB,
        group_index=GLASS_INDEX,
        range_m=50_000.0,
    )
    stated = lossless(trace, kind="non_reflective", attenuation_db_per_km=GLASS_DB_PER_KM)
    return returned(stated, design=design, far_end=far_end)


@pytest.mark.parametrize("check", GLASS, ids=source_of)
def test_the_judge_works_out_the_return_loss_of_clean_fibre(check: GlassCheck) -> None:
    finding = clean_fibre(check.length_km, far_end="absorbed")
    assert float(finding["value"]) == pytest.approx(check.return_loss_db, abs=check.tolerance)
    assert finding["outcome"] == "conforming"


@pytest.mark.parametrize("check", OPEN_ENDS, ids=source_of)
def test_the_judge_takes_an_open_far_end_in(check: GlassCheck) -> None:
    finding = clean_fibre(check.length_km, far_end="open")
    assert float(finding["value"]) == pytest.approx(check.return_loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", EVENTS, ids=source_of)
def test_the_judge_adds_reflections_up_behind_twice_their_loss(check: EventsCheck) -> None:
    # Between the joints glass that sends next to nothing back; one reflection alone is at the far end, all loss at A.
    count = len(check.reflectances_db)
    design = make_design(closures=max(count, 2) - 2)
    trace = make_otdr(design=design, wavelength_nm=1310, backscatter_db=-120.0)
    joints_m = [event["distance_m"] for event in trace["events"] if event["kind"] != "end"]
    reflectances_db = dict(zip(joints_m[-count:], check.reflectances_db, strict=True))
    losses_db = {joints_m[0]: check.loss_before_db}

    def state(event: Body) -> Body:
        at_m = event["distance_m"]
        if at_m not in joints_m:
            return event
        stated = {"kind": "non_reflective", "loss_db": losses_db.get(at_m, 0.0), "attenuation_db_per_km": 0.0}
        if at_m in reflectances_db:
            stated |= {"kind": "reflective", "reflectance_db": reflectances_db[at_m]}
        return {**event, **stated}

    finding = returned(with_events(trace, state), design=design, far_end="absorbed")
    assert float(finding["value"]) == pytest.approx(check.return_loss_db, abs=check.tolerance)
