"""What a layout says of fibres: those to which the same happens everywhere have the same joints."""

from tests.factories import Body, layout_of, make_design


def planned(*plan: tuple[str, int, int, str]) -> Body:
    design = make_design(closures=2)
    design["splice_plan"] = [
        {"site": site, "fibres": {"first": first, "last": last}, "action": action} for site, first, last, action in plan
    ]
    return design


def test_fibres_of_which_the_plan_says_nothing_share_their_joints() -> None:
    layout = layout_of()
    assert layout.joints_of(1) is layout.joints_of(12)


def test_fibres_with_one_plan_share_their_joints_and_no_others_do() -> None:
    layout = layout_of(planned(("C1", 1, 4, "uncut"), ("C2", 3, 4, "uncut")))
    assert layout.joints_of(1) is layout.joints_of(2)
    assert layout.joints_of(3) is layout.joints_of(4)
    sites = [[joint.site for joint in layout.joints_of(fibre) if joint.site in {"C1", "C2"}] for fibre in (1, 3, 5)]
    assert sites == [["C2"], [], ["C1", "C2"]]


def test_what_the_plan_says_and_would_be_so_anyway_tells_no_fibres_apart() -> None:
    layout = layout_of(planned(("C1", 1, 4, "spliced"), ("A", 3, 6, "terminated"), ("C2", 7, 7, "uncut")))
    assert {layout.first_alike(fibre) for fibre in range(1, 13) if fibre != 7} == {0}
    assert layout.first_alike(7) == 7


def test_fibres_spliced_by_ribbon_and_one_by_one_have_other_joints() -> None:
    design = planned(("C1", 1, 4, "spliced"), ("C1", 5, 8, "spliced"))
    design["splice_plan"][0]["splicing"], design["splice_plan"][1]["splicing"] = "ribbon", "single"
    layout = layout_of(design)
    assert [layout.first_alike(fibre) for fibre in (1, 4, 5, 8, 9)] == [1, 1, 0, 0, 0]
    spliced = [{joint.site: joint.splicing for joint in layout.joints_of(fibre)}["C1"] for fibre in (4, 5)]
    assert spliced == ["ribbon", "single"]


def test_a_closure_is_left_shut_only_if_no_fibre_of_the_route_is_cut_there() -> None:
    assert layout_of(planned(("C1", 1, 7, "uncut"), ("C1", 8, 12, "uncut"))).closures_left_shut == {1}
    assert layout_of(planned(("C1", 1, 11, "uncut"))).closures_left_shut == set()
    assert layout_of(planned(("C1", 1, 11, "uncut"), ("C1", 12, 12, "stored"))).closures_left_shut == set()


def test_a_fibre_lies_in_the_tray_that_the_plan_names() -> None:
    design = planned(("C1", 1, 4, "spliced"), ("C2", 1, 4, "spliced"))
    design["sites"][1]["trays"] = [{"number": 3, "capacity": 12}]
    design["splice_plan"][0]["tray"] = 3
    layout = layout_of(design)
    assert [layout.tray(site, fibre) for site, fibre in (("C1", 1), ("C1", 5), ("C2", 1))] == [3, None, None]


def test_a_fibre_takes_the_cable_fibre_that_section_and_plan_give_it() -> None:
    design = make_design(closures=3, fibre_count=4)
    design["sections"][1]["first_cable_fibre"] = 25
    design["sections"][3]["first_cable_fibre"] = 1
    moved = {"site": "C2", "fibres": {"first": 2, "last": 3}, "action": "spliced", "to_cable_fibre": 99}
    last = {"site": "C3", "fibres": {"first": 4, "last": 4}, "action": "spliced", "to_cable_fibre": 7}
    layout = layout_of({**design, "splice_plan": [moved, last]})
    assert [layout.cable_fibres(fibre) for fibre in (1, 2, 3, 4)] == [
        (1, 25, 25, 1), (2, 26, 99, 2), (3, 27, 100, 3), (4, 28, 28, 7),
    ]  # fmt: skip
    assert layout.cable_ranges == [[(1, 4)], [(25, 28)], [(25, 25), (28, 28), (99, 100)], [(1, 3), (7, 7)]]


def test_colours_are_those_of_the_cable_fibre() -> None:
    # Tube 2 of twelve fibres each begins with fibre 13.
    design = make_design(fibre_count=4)
    design["sections"][0]["first_cable_fibre"] = 14
    design["sections"][1]["first_cable_fibre"] = 1
    before, after = layout_of(design).local_fibres(1, "C1")
    assert before == ("S1", 14, 2, "orange", 2, "orange")
    assert after == ("S2", 1, 1, "blue", 1, "blue")


def test_only_a_fibre_that_is_stored_somewhere_does_not_run_through() -> None:
    layout = layout_of(planned(("C1", 1, 2, "stored"), ("C2", 3, 4, "uncut")))
    assert [fibre for fibre in range(1, 7) if not layout.is_continuous(fibre)] == [1, 2]
