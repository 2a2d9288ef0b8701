"""Which joints a criterion is about: where they lie, how they are spliced, which fibre types they join."""

from typing import Any

import pytest
from pydantic import ValidationError

from tests.factories import (
    Body,
    both_ways,
    connection_criterion,
    criteria_of,
    difference_criterion,
    end_face_criterion,
    make_design,
    make_section,
    make_site,
    make_terminal,
    only,
    reflectance_criterion,
    required_record_criterion,
    sealed,
    splice_criterion,
    statistic_criterion,
    termination_criterion,
)
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import finding_by, finding_of, judge
from tests.unit.judgement.routes import verdict_of
from tests.unit.judgement.rules.test_applies_when import two_spans


def joints_judged(criterion: Body, *, design: Body | None = None, fibre: int = 1) -> list[tuple[str, int | None]]:
    """Return the joints that a criterion is held against, in order from A."""
    findings = judge([], design=design or two_spans(), criteria=only(criterion), fibre=fibre).document["findings"]
    return [(finding["site"], finding.get("position")) for finding in findings]


def sites_judged(criterion: Body, *, design: Body | None = None) -> list[str]:
    return list(dict.fromkeys(site for site, _ in joints_judged(criterion, design=design)))


def workmanship(**changes: Any) -> Body:
    return {"code": "WORK", "quantity": "workmanship", "demand": {"aspect": "proof_test"}, **changes}


@pytest.mark.parametrize(
    "criterion",
    [
        splice_criterion(),
        reflectance_criterion(joint="splice"),
        required_record_criterion(joint="splice"),
        required_record_criterion(),
        workmanship(),
        workmanship(demand={"aspect": "attempts", "limit": 3}),
    ],
    ids=lambda criterion: criterion["quantity"],
)
@pytest.mark.parametrize(
    ("at", "sites"),
    [
        (None, ["A", "C1", "P", "C2", "B"]),
        ("line_closures", ["C1", "C2"]),
        ("terminal_splices", ["A", "P", "B"]),
        ("terminals", ["A", "B"]),
        ("panels", ["P"]),
        (["C2", "A"], ["A", "C2"]),
    ],
    ids=str,
)
def test_a_criterion_is_held_where_it_says(criterion: Body, at: object, sites: list[str]) -> None:
    assert sites_judged({**criterion, **({} if at is None else {"at": at})}) == sites


@pytest.mark.parametrize(
    "criterion", [connection_criterion(), termination_criterion(), end_face_criterion(), reflectance_criterion()]
)
@pytest.mark.parametrize(("at", "sites"), [("terminals", ["A", "B"]), ("panels", ["P"]), (["P", "B"], ["P", "B"])])
def test_so_is_one_about_mated_pairs(criterion: Body, at: object, sites: list[str]) -> None:
    assert sites_judged({**criterion, "at": at}) == sites


def test_of_the_joints_at_a_terminal_the_splice_alone_is_a_terminal_splice() -> None:
    assert joints_judged(required_record_criterion(at="terminal_splices")) == [("A", 2), ("P", 1), ("P", 3), ("B", 1)]
    assert joints_judged(required_record_criterion(at="terminals")) == [("A", 1), ("A", 2), ("B", 1), ("B", 2)]


@pytest.mark.parametrize(
    ("at", "sites"), [(None, ["C1", "C2"]), ("line_closures", ["C1", "C2"]), (["C1"], ["C1"]), (["A"], [])]
)
def test_directions_are_held_against_each_other_in_closures_only(at: object, sites: list[str]) -> None:
    assert sites_judged(difference_criterion(**({} if at is None else {"at": at}))) == sites


@pytest.mark.parametrize(
    ("criterion", "why"),
    [
        (connection_criterion(at="line_closures"), "no mated pair"),
        (termination_criterion(at="terminal_splices"), "no mated pair"),
        (reflectance_criterion(joint="pair", at="line_closures"), "no mated pair"),
        (reflectance_criterion(joint="pair", splicing="ribbon"), "said of splices"),
        (statistic_criterion(joint="pair", joining=["G.652", "G.657"]), "said of splices"),
        (difference_criterion(at="terminals"), "closures alone"),
        (splice_criterion(at=["C1", "C1"]), "twice"),
        (splice_criterion(at=[]), "at least 1"),
        (splice_criterion(joining=["G.652"]), "at least 2"),
        ({"code": "LENGTH", "quantity": "length", "limit_percent": 1.0, "at": "panels"}, "not permitted"),
    ],
)
def test_nothing_is_agreed_about_joints_that_cannot_be(criterion: Body, why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        criteria_of(only(criterion))


@pytest.mark.parametrize(
    ("site", "mean_db", "outcome"),
    [
        ("C1", 0.099, "conforming"),
        ("C1", 0.100, "conforming"),
        ("C1", 0.101, "nonconforming"),
        ("A", 0.199, "conforming"),
        ("A", 0.200, "conforming"),
        # No trace sees the pigtail's splice apart from its connector.
        ("A", 0.201, "undetermined"),
    ],
)
def test_line_and_pigtails_have_a_limit_each(site: str, mean_db: float, outcome: str) -> None:
    line = splice_criterion(code="LINE", at="line_closures", limit_db=0.1)
    pigtails = splice_criterion(code="PIGTAIL", at="terminal_splices", limit_db=0.2)
    criteria = only(line, pigtails)
    findings = judge(traces(mean_db, mean_db, site=site), criteria=criteria).document["findings"]
    [finding] = [one for one in findings if one["site"] == site]
    assert finding["outcome"] == outcome
    assert finding["criterion"] == ("LINE" if site == "C1" else "PIGTAIL")


def test_a_splice_at_a_terminal_is_decided_by_the_terminations_criterion_that_holds_there() -> None:
    splice, elsewhere = splice_criterion(limit_db=0.1), termination_criterion(at=["B"])
    bodies = traces(0.4, 0.4, site="A")
    assert finding_by(splice, bodies, beside=[elsewhere], site="A")["reason"] == "group_only"
    here = termination_criterion(at=["A"])
    assert finding_by(splice, bodies, beside=[here], site="A")["outcome"] == "conforming"


RIBBONS = [
    {"site": site, "fibres": {"first": 1, "last": 6}, "action": "spliced", "splicing": "ribbon"} for site in ("C1",)
]


@pytest.mark.parametrize(
    ("fibre", "splicing", "sites"),
    [
        (1, "ribbon", ["C1"]),
        (1, "single", ["A", "C2", "B"]),
        (7, "ribbon", []),
        (7, "single", ["A", "C1", "C2", "B"]),
    ],
)
def test_the_splice_plan_says_which_splices_are_made_by_ribbon(fibre: int, splicing: str, sites: list[str]) -> None:
    design = make_design(splice_plan=RIBBONS)
    criterion = splice_criterion(splicing=splicing)
    assert [site for site, _ in joints_judged(criterion, design=design, fibre=fibre)] == sites


@pytest.mark.parametrize(
    ("mean_db", "outcome"), [(0.149, "conforming"), (0.15, "conforming"), (0.151, "nonconforming")]
)
def test_ribbons_may_lose_more_where_that_is_agreed(mean_db: float, outcome: str) -> None:
    design = make_design(splice_plan=RIBBONS)
    one, ribbon = splice_criterion(splicing="single"), splice_criterion(code="RIBBON", splicing="ribbon", limit_db=0.15)
    bodies = traces(mean_db, mean_db, design=design)
    judgement = judge(bodies, design=design, criteria=only(one, ribbon))
    assert finding_of(judgement, "RIBBON", site="C1")["outcome"] == outcome
    sites = [f["site"] for f in judgement.document["findings"] if f["criterion"] == "SPLICE-1550"]
    assert sites == ["A", "C2", "B"]


def of_two_types(**pigtails: str) -> Body:
    """Return a route of G.652.D up to C1 and of G.657.A1 behind it, its pigtails as said."""
    design = make_design()
    design["sections"] = [make_section("S1"), *(make_section(one, fibre_type="G.657.A1") for one in ("S2", "S3"))]
    design["sites"][0] = make_terminal("A", **pigtails)
    return design


@pytest.mark.parametrize(
    ("joining", "sites"),
    [
        (["G.652.D", "G.657.A1"], ["C1"]),
        (["G.657.A1", "G.652.D"], ["C1"]),
        (["G.652", "G.657"], ["A", "C1"]),
        (["G.657", "G.657"], ["C2"]),
        (["G.652.D", "G.657.A2"], ["A"]),
        # What begins alike is not therefore a kind of it.
        (["G.65", "G.657.A1"], []),
        (["G.652.D", "G.652.D"], []),
    ],
)
def test_a_splice_is_told_by_the_types_it_joins_in_any_order(joining: list[str], sites: list[str]) -> None:
    design = of_two_types(pigtail_fibre_type="G.657.A2")
    assert sites_judged(splice_criterion(joining=joining), design=design) == sites


def test_a_pigtail_of_which_nobody_says_the_type_joins_no_types() -> None:
    assert sites_judged(splice_criterion(joining=["G.652", "G.657"]), design=of_two_types()) == ["C1"]


def test_in_a_panel_each_splice_joins_its_own_cable() -> None:
    design = two_spans(second_type="G.657.A1")
    design["sites"][2] = make_site("P", kind="patch_panel", termination="pigtail", pigtail_fibre_type="G.657.A1")
    assert joints_judged(splice_criterion(joining=["G.652", "G.657"]), design=design) == [("P", 1)]
    assert joints_judged(splice_criterion(joining=["G.657", "G.657"]), design=design) == [("P", 3), ("C2", 1)]


@pytest.mark.parametrize("over", ["fibre", "span", "site", "route"])
@pytest.mark.parametrize(
    ("other_db", "outcome"), [(0.099, "conforming"), (0.1, "conforming"), (0.101, "nonconforming")]
)
def test_a_mean_over_line_splices_is_decided_where_pigtails_are_spliced(
    over: str, other_db: float, outcome: str
) -> None:
    # 0.10 dB in C1; over a site alone each closure has a mean of its own.
    bodies = [*sealed(), *both_ways(losses_db={"A": 0.45, "C1": 0.1, "C2": other_db, "B": 0.45})]
    line = statistic_criterion(over=over, at="line_closures")
    every = statistic_criterion(code="EVERY", over=over)
    verdict = verdict_of({1: bodies}, design=make_design(), criteria=only(line, every))
    findings = [
        *verdict.document["findings"],
        *judge(bodies, criteria=only(line, every)).document["findings"],
    ]
    worst = [f for f in findings if f["criterion"] == "MEAN" and f.get("site") in {None, "C2"}]
    assert [f["outcome"] for f in worst] == [outcome]
    assert worst[0]["count"] == (1 if over == "site" else 2)
    # Over all splices nobody knows how much of a connection's loss is its splice's.
    assert "undetermined" in {f["outcome"] for f in findings if f["criterion"] == "EVERY"}


def test_a_fibre_that_could_not_be_judged_leaves_its_line_splices_alone_unknown() -> None:
    bodies = [*sealed(), *both_ways(losses_db={"C1": 0.1, "C2": 0.1})]
    line = statistic_criterion(over="route", at="line_closures")
    [finding] = verdict_of({1: bodies, 2: []}, design=make_design(), criteria=only(line)).document["findings"]
    assert (finding["count"], finding["reason"]) == (4, "members_unknown")
