"""Where a criterion holds: spans of a length, fibre types, and what is left to other criteria elsewhere."""

import pytest

from tests.factories import (
    Body,
    connection_criterion,
    make_design,
    make_section,
    make_site,
    only,
    splice_criterion,
    termination_criterion,
)
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import finding_of, judge

Applies = dict[str, object]


def two_spans(*, second_type: str = "G.652.D") -> Body:
    """Return a route of 2000 m, closure C1 in it, up to a panel P, and of 3000 m, closure C2 in it, behind."""
    design = make_design(closures=3)
    names = {"C2": make_site("P", kind="patch_panel", termination="pigtail"), "C3": make_site("C2")}
    design["sites"] = [names.get(site["id"], site) for site in design["sites"]]
    design["segments"][0]["sites"] = [site["id"] for site in design["sites"]]
    behind = {"fibre_type": second_type}
    design["sections"][2:] = [make_section("S3", **behind), make_section("S4", cable_length_m=2000.0, **behind)]
    return design


def sites_judged(applies_when: Applies, *, design: Body | None = None) -> list[str]:
    """Return the sites of the splices that a criterion is held against."""
    criteria = only(splice_criterion(applies_when=applies_when))
    findings = judge([], design=design or two_spans(), criteria=criteria).document["findings"]
    return list(dict.fromkeys(finding["site"] for finding in findings))


@pytest.mark.parametrize(
    ("applies_when", "sites"),
    [
        ({"least_span_m": 2000.0}, ["A", "C1", "P", "C2", "B"]),
        ({"least_span_m": 2000.01}, ["P", "C2", "B"]),
        ({"least_span_m": 3000.0}, ["P", "C2", "B"]),
        ({"least_span_m": 3000.01}, []),
        ({"most_span_m": 3000.0}, ["A", "C1", "P", "C2", "B"]),
        ({"most_span_m": 2999.99}, ["A", "C1", "P"]),
        ({"most_span_m": 2000.0}, ["A", "C1", "P"]),
        ({"most_span_m": 1999.99}, []),
    ],
)
def test_a_span_at_the_end_of_the_range_is_in_it(applies_when: Applies, sites: list[str]) -> None:
    assert sites_judged(applies_when) == sites


@pytest.mark.parametrize(
    ("fibre_types", "sites"),
    [(["G.657.A1"], ["P", "C2", "B"]), (["G.652.D"], ["A", "C1", "P"]), (["G.655"], [])],
)
def test_a_criterion_for_a_fibre_type_holds_where_that_fibre_lies(fibre_types: list[str], sites: list[str]) -> None:
    assert sites_judged({"fibre_types": fibre_types}, design=two_spans(second_type="G.657.A1")) == sites


def test_without_conditions_it_holds_everywhere() -> None:
    findings = judge([], design=two_spans(), criteria=only(splice_criterion())).document["findings"]
    assert {finding["site"] for finding in findings} == {"A", "C1", "P", "C2", "B"}


@pytest.mark.parametrize("quantity", [termination_criterion, connection_criterion])
def test_connections_are_held_against_what_holds_at_their_site(quantity: object) -> None:
    criteria = only(quantity(applies_when={"most_span_m": 2000.0}))  # type: ignore[operator]
    findings = judge([], design=two_spans(), criteria=criteria).document["findings"]
    assert [finding["site"] for finding in findings] == ["A", "P"]


def test_two_limits_for_short_and_long_spans_each_judge_their_own() -> None:
    short = splice_criterion(code="SHORT", limit_db=0.1, applies_when={"most_span_m": 2000.0})
    long = splice_criterion(code="LONG", limit_db=0.2, applies_when={"least_span_m": 2000.01})
    design = two_spans()
    bodies = [*traces(0.15, 0.15, site="C1", design=design)]
    judgement = judge(bodies, design=design, criteria=only(short, long, final_after_sealing=False))
    assert finding_of(judgement, "SHORT", site="C1")["outcome"] == "nonconforming"
    bodies = [*traces(0.15, 0.15, site="C2", design=design)]
    judgement = judge(bodies, design=design, criteria=only(short, long, final_after_sealing=False))
    assert finding_of(judgement, "LONG", site="C2")["outcome"] == "conforming"


def test_a_group_is_decided_only_by_a_criterion_that_holds_there() -> None:
    design = two_spans()
    elsewhere = termination_criterion(applies_when={"least_span_m": 2000.01})
    criteria = only(splice_criterion(), elsewhere, final_after_sealing=False)
    judgement = judge(traces(0.3, 0.3, site="A", design=design), design=design, criteria=criteria)
    assert finding_of(judgement, "SPLICE-1550", site="A")["reason"] == "group_only"
    assert finding_of(judgement, "SPLICE-1550", site="B")["limit"] == "0.5000"
