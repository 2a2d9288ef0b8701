"""The fibre assignment table: what each fibre is on both sides of each site, and what is between."""

import time
from typing import Any

from service.vocabulary.design.assignments import HEADINGS, assignments_of, flat
from tests.factories import Body, layout_of, make_design, make_section, make_site, with_site


def planned(site: str, action: str, first: int = 1, last: int = 12, **changes: Any) -> Body:
    return {"site": site, "fibres": {"first": first, "last": last}, "action": action, **changes}


def test_a_fibre_has_a_row_at_each_site_with_its_cable_fibre_on_both_sides() -> None:
    sections = [make_section("S1"), make_section("S2", first_cable_fibre=13), make_section("S3")]
    design = with_site(
        make_site("C1", trays=[{"number": 2, "capacity": 12}]), at=1, sections=sections,
        splice_plan=[
            planned("A", "terminated", first=3, last=12, port=41),
            planned("C1", "spliced", tray=2),
            planned("C2", "uncut"),
        ],
    )  # fmt: skip
    rows = list(assignments_of(layout_of(design), [4]))
    assert [(row.site, row.action, row.port, row.tray, row.joints) for row in rows] == [
        ("A", "terminated", 42, None, "1 pair, 2 splice"),
        ("C1", "spliced", None, 2, "1 splice"),
        ("C2", "uncut", None, None, ""),
        ("B", "terminated", None, None, "1 splice, 2 pair"),
    ]
    sides = [(row.towards_a and row.towards_a[:4], row.towards_b and row.towards_b[:4]) for row in rows]
    there, behind, last = ("S1", 4, 1, "blue"), ("S2", 16, 2, "orange"), ("S3", 16, 2, "orange")
    assert sides == [(None, there), (there, behind), (behind, last), (last, None)]


def test_a_line_of_the_table_has_a_value_or_nothing_under_each_heading() -> None:
    first, second, *_ = (dict(zip(HEADINGS, flat(row), strict=True)) for row in assignments_of(layout_of(), [12]))
    assert (first["fibre"], first["site"], first["towards_a_section"], first["towards_b_fibre_colour"]) == (
        12, "A", None, "aqua",
    )  # fmt: skip
    assert (second["towards_a_section"], second["towards_a_tube"], second["towards_b_section"]) == ("S1", 1, "S2")


def test_a_patch_cord_leads_from_port_to_port() -> None:
    panel = make_site("P", kind="patch_panel", termination="pigtail", patch_cord=True)
    plan = [planned("P", "terminated", port=1, to_port=101)]
    [row] = assignments_of(layout_of(with_site(panel, at=1, splice_plan=plan)), [12], site="P")
    assert (row.port, row.to_port, row.joints) == (12, 112, "1 splice, 2 pair, 3 pair, 4 splice")


def test_one_site_is_asked_for_alone() -> None:
    rows = assignments_of(layout_of(), range(1, 13), site="C2")
    assert [(row.fibre, row.site) for row in rows] == [(fibre, "C2") for fibre in range(1, 13)]
    assert list(assignments_of(layout_of(), range(1, 13), site="C9")) == []


def test_a_page_of_the_largest_route_s_table_is_made_in_seconds() -> None:
    plan = [planned(f"C{n}", "spliced", last=1728, tray=1) for n in range(1, 401)]
    design = make_design(closures=400, fibre_count=1728, splice_plan=plan)
    for site in design["sites"][1:-1]:
        site["trays"] = [{"number": 1, "capacity": 1728}]
    layout = layout_of(design)
    started = time.process_time()
    assert sum(1 for _ in assignments_of(layout, range(1628, 1729))) == 101 * 402
    assert time.process_time() - started < 5
