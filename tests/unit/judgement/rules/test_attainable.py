"""Criteria that a route leaves nothing of, or nowhere to hold, are told when they meet it, and only those."""

from typing import Any

import pytest

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.review import Severity
from service.vocabulary.criteria.route_feasibility import infeasibilities_on
from service.vocabulary.design.layout import Layout
from tests.factories import (
    Body,
    coefficient_criterion,
    criteria_of,
    density_criterion,
    difference_criterion,
    layout_of,
    link_criterion,
    make_design,
    make_section,
    make_site,
    only,
    required_test_criterion,
    splice_criterion,
    with_site,
)
from tests.world import read_demo
from worker.judgement.rules.attainable import attainability, return_loss_of_fibre_alone_tenth_mdb

UNMEETABLE, QUESTIONABLE = Severity.UNMEETABLE, Severity.QUESTIONABLE


def told_on(design: Body, *criteria: Body) -> list[tuple[tuple[str, ...], Severity]]:
    """Return whom criteria on a route are told of, and how severe it is."""
    return [(one.criteria, one.severity) for one in infeasibilities_on(_criteria(*criteria), layout_of(design))]


def _criteria(*criteria: Body) -> Criteria:
    return criteria_of(only(*criteria))


def return_loss_criterion(**changes: Any) -> Body:
    return {"code": "RL-1310", "quantity": "return_loss", "wavelength_nm": 1310, "limit_db": 30.0, **changes}


def one_section(*, length_m: float, **changes: Any) -> Body:
    """Return a route of one section."""
    return make_design(closures=0, sections=[make_section("S1", cable_length_m=length_m, **changes)])


def layout_with(*, length_m: float, **changes: Any) -> Layout:
    return layout_of(one_section(length_m=length_m, **changes))


def test_the_demo_s_criteria_are_told_nothing() -> None:
    design, criteria = layout_of(read_demo("route")), criteria_of(read_demo("criteria"))
    assert attainability(design, criteria) == []


@pytest.mark.parametrize(
    ("limit_db", "expected"),
    # 100 km of fibre alone have 0.16 dB/km, 16 dB, and the loss is known to 0.3 dB.
    [(16.0, []), (15.999, [QUESTIONABLE]), (15.7, [QUESTIONABLE]), (15.699, [UNMEETABLE])],
)
def test_a_figure_for_the_link_below_what_the_fibre_alone_has_is_told(limit_db: float, expected: object) -> None:
    fixed = link_criterion(limit={"kind": "fixed", "limit_db": limit_db})
    assert [severity for _, severity in told_on(one_section(length_m=100_000.0), fixed)] == expected


def test_a_guard_band_is_taken_off_a_figure_for_the_link_first() -> None:
    fixed = link_criterion(limit={"kind": "fixed", "limit_db": 16.2}, decision="guarded")
    assert told_on(one_section(length_m=100_000.0), fixed) == [(("LINK-1550",), QUESTIONABLE)]


@pytest.mark.parametrize(("limit_per_km", "is_told"), [(0.666, True), (0.667, False)])
def test_a_design_with_more_splices_than_are_allowed_is_told(limit_per_km: float, is_told: bool) -> None:
    density = density_criterion(limit_per_km=limit_per_km)
    # Two closures on 3 km.
    assert told_on(make_design(), density) == ([(("DENSITY",), UNMEETABLE)] if is_told else [])


def test_fibres_that_pass_a_closure_uncut_have_no_splice_there() -> None:
    density = density_criterion(limit_per_km=0.5)
    uncut = [{"site": "C1", "fibres": {"first": 1, "last": 12}, "action": "uncut"}]
    assert told_on(make_design(splice_plan=uncut), density) == []
    assert told_on(make_design(splice_plan=[{**uncut[0], "fibres": {"first": 1, "last": 11}}]), density) != []


@pytest.mark.parametrize("criterion", [splice_criterion(), link_criterion(), required_test_criterion()])
@pytest.mark.parametrize(
    ("applies_when", "is_told"),
    [
        ({"least_span_m": 3000.0}, False),
        ({"least_span_m": 3000.01}, True),
        ({"most_span_m": 2999.99}, True),
        ({"fibre_types": ["G.652.D"]}, False),
        ({"fibre_types": ["G.657.A"]}, True),
    ],
)
def test_a_criterion_that_holds_nowhere_on_the_route_is_told(
    criterion: Body, applies_when: Body, is_told: bool
) -> None:
    expected = [((criterion["code"],), QUESTIONABLE)] if is_told else []
    assert told_on(make_design(), {**criterion, "applies_when": applies_when}) == expected


def test_a_criterion_from_end_to_end_asks_for_the_whole_length_and_one_about_joints_for_a_span() -> None:
    design = with_site(make_site("C1", kind="patch_panel", termination="pigtail"), at=1, closures=1)
    short = {"most_span_m": 1000.0}
    assert told_on(design, splice_criterion(applies_when=short)) == []
    assert told_on(design, link_criterion(applies_when=short)) == [(("LINK-1550",), QUESTIONABLE)]
    assert told_on(design, link_criterion(applies_when={"least_span_m": 2000.0})) == []
    assert told_on(design, splice_criterion(applies_when={"least_span_m": 2000.0})) == [
        (("SPLICE-1550",), QUESTIONABLE)
    ]


@pytest.mark.parametrize(
    ("over", "least_length_m", "is_told"),
    [("section", 1000.0, False), ("section", 1000.01, True), ("span", 3000.0, False), ("span", 3000.01, True)],
)
def test_a_coefficient_of_stretches_longer_than_any_is_told(over: str, least_length_m: float, is_told: bool) -> None:
    coefficient = coefficient_criterion(code="AC-1550", over=over, least_length_m=least_length_m)
    assert told_on(make_design(), coefficient) == ([(("AC-1550",), QUESTIONABLE)] if is_told else [])


@pytest.mark.parametrize(
    ("length_km", "return_loss_db"),
    # Computed for 1310 nm, 0.35 dB/km, K -79 dB in the trade's notes; a thousand kilometres stand for endless.
    [(1, 39.4), (5, 33.7), (10, 32.1), (20, 31.3), (1000, 31.2)],
)
def test_the_fibre_alone_leaves_the_computed_return_loss(length_km: int, return_loss_db: float) -> None:
    sections = layout_with(length_m=length_km * 1000.0).design.sections
    found = return_loss_of_fibre_alone_tenth_mdb(sections, wavelength_nm=1310)
    assert found is not None
    assert round(found / 10_000, 1) == return_loss_db


@pytest.mark.parametrize(
    ("limit_db", "expected"),
    # 5 km leave 33.7340 dB, known to 1 dB.
    [
        (33.734, []),
        (33.735, [QUESTIONABLE]),
        (34.734, [QUESTIONABLE]),
        (34.735, [UNMEETABLE]),
        (60.0, [UNMEETABLE]),
    ],
)
def test_a_return_loss_beyond_the_fibre_alone_is_told(limit_db: float, expected: object) -> None:
    criteria = _criteria(return_loss_criterion(limit_db=limit_db))
    found = attainability(layout_with(length_m=5000.0), criteria)
    assert [one.severity for one in found] == expected


@pytest.mark.parametrize(
    ("uncertainty_db", "expected"),
    [(0.034, []), (0.035, [QUESTIONABLE]), (1.034, [QUESTIONABLE]), (1.035, [UNMEETABLE])],
)
def test_a_guard_band_asks_for_more_than_the_return_loss_itself(uncertainty_db: float, expected: object) -> None:
    guarded = return_loss_criterion(limit_db=33.7, decision="guarded", uncertainty_db=uncertainty_db)
    assert [one.severity for one in attainability(layout_with(length_m=5000.0), _criteria(guarded))] == expected


def test_a_coefficient_that_the_design_states_goes_before_the_customary_one() -> None:
    # 2 dB less comes back, so 2 dB more is left.
    optics = [{"wavelength_nm": 1310, "backscatter_db": -81.0}]
    plain, stated = layout_with(length_m=10_000.0), layout_with(length_m=10_000.0, optics=optics)
    [first, second] = [
        return_loss_of_fibre_alone_tenth_mdb(one.design.sections, wavelength_nm=1310) for one in (plain, stated)
    ]
    assert first is not None
    assert second == first + 20_000
    criteria = _criteria(return_loss_criterion(limit_db=34.0))
    assert [one.severity for one in attainability(plain, criteria)] == [UNMEETABLE]
    assert attainability(stated, criteria) == []


def test_the_end_that_leaves_less_is_the_one_told() -> None:
    bright, dark = (
        {"optics": [{"wavelength_nm": 1310, "backscatter_db": backscatter}]} for backscatter in (-76.0, -82.0)
    )
    sections = [
        make_section("S1", cable_length_m=20_000.0, **dark),
        make_section("S2", cable_length_m=20_000.0, **bright),
    ]
    design = make_design(closures=1, sections=sections)
    turned = make_design(closures=1, sections=[{**sections[1], "id": "S1"}, {**sections[0], "id": "S2"}])
    criteria = _criteria(return_loss_criterion(limit_db=33.0))
    found = [attainability(layout_of(one), criteria) for one in (design, turned)]
    assert found[0] == found[1]
    assert [one.severity for one in found[0]] == [UNMEETABLE]


def test_nothing_is_claimed_at_a_wavelength_of_which_nothing_is_customary() -> None:
    criteria = _criteria(return_loss_criterion(limit_db=60.0, wavelength_nm=1490))
    assert attainability(layout_with(length_m=10_000.0), criteria) == []


def test_a_return_loss_that_holds_nowhere_is_told_that_alone() -> None:
    far = return_loss_criterion(limit_db=60.0, applies_when={"least_span_m": 60_000.0})
    [report] = attainability(layout_with(length_m=10_000.0), _criteria(far))
    assert (report.criteria, report.severity) == (("RL-1310",), QUESTIONABLE)


@pytest.mark.parametrize(
    ("changes", "detail"),
    [
        ({"at": ["C1", "C9", "D"]}, "names C9, D, which this route does not pass"),
        ({"at": "panels"}, "holds nowhere on this route: it has no joint of those that it asks for"),
        ({"splicing": "ribbon"}, "holds nowhere on this route: it has no joint of those that it asks for"),
        ({"joining": ["G.655", "G.655"]}, "holds nowhere on this route: it has no joint of those that it asks for"),
        ({"joining": ["G.652", "G.652"]}, "does not hold at A, B: of which type the pigtails are is not said"),
        ({"at": ["C1", "C2"]}, None),
        ({"at": "terminal_splices", "splicing": "single"}, None),
        ({"at": "line_closures", "joining": ["G.652", "G.652"]}, None),
    ],
)
def test_joints_that_a_route_has_not_are_told(changes: Body, detail: str | None) -> None:
    reports = infeasibilities_on(_criteria(splice_criterion(**changes)), layout_of())
    assert [(one.detail, one.severity) for one in reports] == ([] if detail is None else [(detail, QUESTIONABLE)])


def test_of_pigtails_whose_type_the_design_states_nothing_is_told() -> None:
    design = make_design()
    for site in (design["sites"][0], design["sites"][-1]):
        site["pigtail_fibre_type"] = "G.657.A2"
    assert told_on(design, splice_criterion(joining=["G.652", "G.657"])) == []


@pytest.mark.parametrize(("tested_from", "is_told"), [("a", False), ("b", True), ("either", False), ("both", False)])
def test_what_is_tested_from_an_end_that_is_not_built_alone_is_told(tested_from: str, is_told: bool) -> None:
    design = make_design()
    design["sites"][-1] = make_site("B", kind="stub")
    expected = [(("SPLICE-1550",), QUESTIONABLE)] if is_told else []
    assert told_on(design, splice_criterion(tested_from=tested_from)) == expected
    assert told_on(make_design(), splice_criterion(tested_from=tested_from)) == []


def test_directions_are_held_against_each_other_nowhere_but_in_closures() -> None:
    apart = difference_criterion(at=["A"])
    assert told_on(make_design(), apart) == [(("APART",), QUESTIONABLE)]
    assert told_on(make_design(), {**apart, "at": ["A", "C1"]}) == []
