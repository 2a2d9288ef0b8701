"""What two routes of a project have to agree on: the cable that both pass, its fibres, and the trays of sites."""

import time
from typing import Any

import pytest

from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.neighbours import Neighbour, faults_beside, merge_ranges
from service.vocabulary.design.rules import faults_in
from tests.factories import Body, layout_of, make_design, make_section, make_site, make_terminal


def branch(**changes: Any) -> Body:
    """Return a route that passes S1 and S2 behind the fibres of route one, then cable of its own."""
    sections = [make_section("S1", first_cable_fibre=13), make_section("S2"), make_section("S9", first_cable_fibre=1)]
    sites = [make_terminal("A"), make_site("C1"), make_site("C2"), make_terminal("D")]
    return make_design(code="R2", sites=sites, **{"sections": sections, **changes})


def faults(design: Body, *others: Body) -> list[tuple[str, str]]:
    layouts = [Neighbour(other["code"], layout_of(other)) for other in others]
    return [(fault.pointer, fault.detail) for fault in faults_beside(layout_of(design), layouts)]


def test_a_branch_passes_the_same_cable_with_other_fibres_of_it() -> None:
    assert faults_in(Design.model_validate(branch())) == []
    assert faults(branch(), make_design()) == faults(make_design(), branch()) == []
    assert layout_of(branch()).cable_fibres(12) == (24, 24, 12)


@pytest.mark.parametrize(("count", "is_refused"), [(23, True), (24, False)])
def test_a_cable_has_all_fibres_that_routes_have_in_it_whichever_says_how_many(count: int, is_refused: bool) -> None:
    counting = make_design(sections=[make_section("S1", fibre_count=count), make_section("S2"), make_section("S3")])
    said = [("/sections/0/fibre_count", "cable fibre 24 is route R2's")]
    assert faults(counting, branch()) == (said if is_refused else [])
    detail = "cable fibre 24 is none of the 23 that route R1 says there are"
    assert faults(branch(), counting) == ([("/sections/0/first_cable_fibre", detail)] if is_refused else [])


@pytest.mark.parametrize(("first", "taken"), [(13, None), (12, 12), (2, 2)])
def test_a_cable_fibre_that_another_route_has_is_refused_by_its_number(first: int, taken: int | None) -> None:
    sections = [make_section("S1", first_cable_fibre=first), make_section("S7"), make_section("S9")]
    [*found] = faults(branch(sections=sections), make_design())
    detail = f"cable fibre {taken} is route R1's"
    assert found == ([] if taken is None else [("/sections/0/first_cable_fibre", detail)])


@pytest.mark.parametrize(
    ("member", "value", "said"),
    [
        ("cable_length_m", 1000.01, "1000.00"),
        ("slack_m", 0.01, "0.00"),
        ("excess_percent", 0.1, "0.00"),
        ("reel", "REEL-2", "REEL-1"),
        ("fibre_count", 48, "144"),
        ("fibre_type", "G.657.A1", "G.652.D"),
        ("fibres_per_tube", 6, "12"),
        ("optics", [{"wavelength_nm": 1550, "group_index": 1.4682}], "something else"),
    ],
)
def test_what_the_cable_is_both_routes_say_alike(member: str, value: object, said: str) -> None:
    known = {
        "reel": "REEL-1",
        "fibre_count": 144,
        "optics": [{"wavelength_nm": 1550, "group_index": 1.468}],
    }
    first = make_design(sections=[make_section("S1", **known), make_section("S2"), make_section("S3")])
    shared = make_section("S1", first_cable_fibre=13, **{**known, member: value})
    detail = f"is {said} on route R1, which passes this cable too"
    own = [make_section("S7"), make_section("S9")]
    assert faults(branch(sections=[shared, *own]), first) == [(f"/sections/0/{member}", detail)]


@pytest.mark.parametrize(
    ("member", "value"),
    [("reel", "REEL-2"), ("fibre_count", 48), ("optics", [{"wavelength_nm": 1550, "group_index": 1.4682}])],
)
def test_what_one_route_leaves_unsaid_another_may_say(member: str, value: object) -> None:
    sections = [make_section("S1", first_cable_fibre=13, **{member: value}), make_section("S7"), make_section("S9")]
    assert faults(branch(sections=sections), make_design()) == faults(make_design(), branch(sections=sections)) == []


def test_a_cable_joins_the_same_two_sites_whichever_way_a_route_passes_it() -> None:
    back = make_design(code="R2", sections=[make_section(f"S{n}", first_cable_fibre=13) for n in (3, 2, 1)])
    for one in (back, back["segments"][0]):
        one["sites"] = one["sites"][::-1]
    assert faults(back, make_design()) == []
    elsewhere = branch(sections=[make_section("S7"), make_section("S1", first_cable_fibre=13), make_section("S9")])
    assert faults(elsewhere, make_design()) == [("/sections/1/id", "joins A and C1 on route R1")]


def with_tray(capacity: int, *, splices: int, **changes: Any) -> Body:
    """Return a design of which so many splices lie in tray 1 of C1."""
    plan = {"site": "C1", "fibres": {"first": 1, "last": splices}, "action": "spliced", "tray": 1}
    design = make_design(splice_plan=[plan] if splices else [], **changes)
    design["sites"][1] = make_site("C1", trays=[{"number": 1, "capacity": capacity}])
    return design


def test_trays_are_the_sites_and_their_room_is_for_all_routes() -> None:
    own = {"code": "R2", "sections": [make_section(name) for name in ("T1", "T2", "T3")]}
    first = with_tray(18, splices=12)
    assert faults(with_tray(18, splices=6, **own), first) == []
    [(pointer, detail)] = faults(with_tray(18, splices=7, **own), first)
    assert (pointer, detail) == (
        "/sites/1/trays/0/capacity", "with the splices of other routes the tray has room for 1 fewer",
    )  # fmt: skip
    assert faults(with_tray(24, splices=6, **own), first) == [("/sites/1/trays", "are others on route R1")]


@pytest.mark.parametrize(("port", "taken"), [(13, None), (12, 12), (1, 1)])
def test_a_port_has_one_fibre_of_one_route(port: int, taken: int | None) -> None:
    def at_a(first: int, **changes: Any) -> Body:
        fibres = {"first": 1, "last": 12}
        return make_design(
            splice_plan=[{"site": "A", "fibres": fibres, "action": "terminated", "port": first}], **changes
        )

    second = at_a(port, code="R2", sections=[make_section(name) for name in ("T1", "T2", "T3")])
    said = [("/splice_plan/0/port", f"port {taken} is route R1's")]
    assert faults(second, at_a(1)) == ([] if taken is None else said)


def test_of_two_revisions_of_a_route_the_one_counts_that_needs_more_room() -> None:
    own = {"code": "R2", "sections": [make_section(name) for name in ("T1", "T2", "T3")]}
    twice = [with_tray(18, splices=splices) for splices in (12, 6)]
    assert faults(with_tray(18, splices=6, **own), *twice) == []
    assert faults(with_tray(18, splices=7, **own), *twice) != []


def test_ranges_are_merged_where_they_touch() -> None:
    assert merge_ranges([(13, 24), (1, 12), (30, 36), (14, 20), (36, 40)]) == [(1, 24), (30, 40)]
    assert merge_ranges([]) == []


def test_the_largest_cable_is_compared_in_a_moment() -> None:
    # 1,728 fibres through 400 sections, crossed anew in each closure, beside as many of another route.
    sections = [make_section(f"S{n}", fibre_count=1728) for n in range(400)]
    plan = [
        {"site": f"C{n}", "fibres": {"first": a, "last": b}, "action": "spliced", "to_cable_fibre": to}
        for n in range(1, 400, 2)
        for a, b, to in ((1, 432, 433), (433, 864, 1))
    ]
    size: Body = {"closures": 399, "fibre_count": 864}
    first = make_design(**size, sections=sections, splice_plan=plan)
    second = [{**one, "first_cable_fibre": 865} for one in sections]
    designs = [Design.model_validate(one) for one in (first, make_design(code="R2", **size, sections=second))]
    started = time.process_time()
    layouts = [Layout(one) for one in designs]
    assert [list(map(str, faults_in(one)))[:3] for one in designs] == [[], []]
    assert list(faults_beside(layouts[0], [Neighbour("R2", layouts[1])])) == []
    assert time.process_time() - started < 2
