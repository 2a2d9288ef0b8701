"""What keeps a design from being a route: each fault is said at its own place."""

import time
from typing import Any

import pytest

from service.vocabulary.design.design import Design
from service.vocabulary.design.rules import faults_in
from service.vocabulary.validation import MOST_FAULTS, faults_of, pointer_to
from tests.factories import make_design, make_section, make_site, make_terminal

Body = dict[str, Any]
SEGMENT = make_design()["segments"][0]
WEST = {**SEGMENT, "id": "W", "sites": ["A", "C1"], "sections": ["S1", "S2"]}
EAST = {**SEGMENT, "id": "E", "sites": ["C2", "B"], "sections": ["S3"]}


def planned(**changes: Any) -> Body:
    return {"site": "C1", "fibres": {"first": 1, "last": 12}, "action": "uncut", **changes}


def pointers(**changes: Any) -> list[str]:
    return [fault.pointer for fault in faults_in(Design.model_validate(make_design(**changes)))]


def ranges(*numbers: tuple[int, int]) -> list[Body]:
    return [{**SEGMENT, "fibres": [{"first": first, "last": last} for first, last in numbers]}]


def with_trays(*trays: tuple[int, int]) -> list[Body]:
    own = [{"number": number, "capacity": capacity} for number, capacity in trays]
    return [make_terminal("A", trays=own), make_site("C1", trays=own), make_site("C2"), make_terminal("B")]


CASES: dict[str, tuple[Body, list[str]]] = {
    "a section too few": (
        {"sections": [make_section("S1"), make_section("S2")], "segments": [{**SEGMENT, "sections": ["S1", "S2"]}]},
        ["/sections"],
    ),
    "a site twice": (
        {"sites": [make_terminal("A"), make_site("C1"), make_site("C1"), make_terminal("B")],
         "segments": [{**SEGMENT, "sites": ["A", "C1", "B"]}]},
        ["/sites/2/id", "/segments/0/sites"],
    ),
    "a segment twice": ({"segments": [WEST, {**EAST, "id": "W"}]}, ["/segments/1/id"]),
    "no terminal at either end": (
        {"sites": [make_site("A"), make_site("C1"), make_site("C2"), make_site("B", kind="stub")]}, ["/sites/0/kind"],
    ),
    "a patch panel at an end": (
        {"sites": [make_terminal("A"), make_site("C1"), make_site("C2"), make_site("B", kind="patch_panel")]},
        ["/sites/3/kind"],
    ),
    "a stub on the way": (
        {"sites": [make_terminal("A"), make_site("C1", kind="stub"), make_site("C2"), make_terminal("B")]},
        ["/sites/1/kind"],
    ),
    "fibres terminated in a stub": (
        {"sites": [make_terminal("A"), make_site("C1"), make_site("C2"), make_site("B", kind="stub")],
         "splice_plan": [planned(site="B", action="terminated")]},
        ["/splice_plan/0/action"],
    ),
    "a pigtail at a stub": (
        {"sites": [make_terminal("A"), make_site("C1"), make_site("C2"),
                   make_site("B", kind="stub", termination="pigtail")]},
        ["/sites/3/termination"],
    ),
    "a terminal on the way": (
        {"sites": [make_terminal("A"), make_site("C1"), make_terminal("C2"), make_terminal("B")]}, ["/sites/2/kind"],
    ),
    "fibres that end in a closure": (
        {"sites": [make_terminal("A"), make_site("C1", termination="pigtail"), make_site("C2"), make_terminal("B")]},
        ["/sites/1/termination"],
    ),
    "a cord where no panel is": (
        {"sites": [make_terminal("A"), make_site("C1", patch_cord=True), make_site("C2"), make_terminal("B")]},
        ["/sites/1/patch_cord"],
    ),
    "pigtails in a closure": (
        {"sites": [make_terminal("A"), make_site("C1", pigtail_fibre_type="G.657.A2"), make_site("C2"),
                   make_terminal("B")]},
        ["/sites/1/pigtail_fibre_type"],
    ),
    "pigtails where fibres end on factory cords": (
        {"sites": [make_terminal("A", termination="factory_cord", pigtail_fibre_type="G.657.A2"), make_site("C1"),
                   make_site("C2"), make_terminal("B", pigtail_fibre_type="G.657.A2")]},
        ["/sites/0/pigtail_fibre_type"],
    ),
    "uncut fibres spliced by ribbon": ({"splice_plan": [planned(splicing="ribbon")]}, ["/splice_plan/0/splicing"]),
    "a ribbon spliced where fibres end on factory cords": (
        {"sites": [make_terminal("A", termination="factory_cord"), make_site("C1"), make_site("C2"),
                   make_terminal("B")],
         "splice_plan": [planned(site=site, action="terminated", splicing="ribbon") for site in ("A", "B")]},
        ["/splice_plan/0/splicing"],
    ),
    "colours nobody knows": (
        {"sections": [make_section("S1", colour_scheme="rainbow"), make_section("S2"), make_section("S3")]},
        ["/sections/0/colour_scheme"],
    ),
    "a site of no segment": ({"segments": [{**SEGMENT, "sites": ["A", "C1", "C2"]}]}, ["/sites/3/id"]),
    "a site that is not there": (
        {"segments": [{**SEGMENT, "sites": ["A", "C1", "C2", "B", "C9"]}]}, ["/segments/0/sites/4"],
    ),
    "a section of two segments": (
        {"segments": [WEST, {**EAST, "sections": ["S2", "S3"]}]}, ["/segments/1/sections/0"],
    ),
    "a segment with a gap": (
        {"segments": [{**WEST, "sites": ["A", "C2"]}, {**EAST, "sites": ["C1", "B"]}]},
        ["/segments/0/sites", "/segments/1/sites"],
    ),
    "a section named twice": (
        {"segments": [{**SEGMENT, "sections": ["S1", "S2", "S3", "S3"]}]}, ["/segments/0/sections"],
    ),
    "a tray twice": (
        {"sites": with_trays((1, 12), (2, 12), (1, 24))}, ["/sites/0/trays/2/number", "/sites/1/trays/2/number"],
    ),
    "a plan for a tray that is not there": ({"splice_plan": [planned(tray=1)]}, ["/splice_plan/0/tray"]),
    "a tray too small": (
        {
            "sites": with_trays((1, 11)),
            "splice_plan": [planned(action="spliced", fibres={"first": n, "last": n}, tray=1) for n in range(1, 13)],
        },
        ["/splice_plan/11/tray"],
    ),
    "an uncut fibre under the next section's number": (
        {
            "splice_plan": [planned(fibres={"first": 3, "last": 3})],
            "sections": [make_section("S1"), make_section("S2", first_cable_fibre=13), make_section("S3")],
        },
        ["/sections/1/first_cable_fibre"],
    ),
    "more fibres than the cable has": (
        {"sections": [make_section("S1", fibre_count=12), make_section("S2", fibre_count=11), make_section("S3")]},
        ["/sections/1/fibre_count"],
    ),
    "fibres beyond any cable": (
        {"sections": [make_section("S1", first_cable_fibre=1718), make_section("S2", first_cable_fibre=1717),
                      make_section("S3", first_cable_fibre=1)]},
        ["/sections/0/fibre_count"],
    ),
    "a port in a closure": ({"splice_plan": [planned(port=1)]}, ["/splice_plan/0/port"]),
    "a port twice": (
        {"splice_plan": [planned(site="A", action="terminated", fibres={"first": first, "last": first + 5}, port=port)
                         for first, port in ((1, 1), (7, 6))]},
        ["/splice_plan/1/port"],
    ),
    "the far end of no patch cord": (
        {"splice_plan": [planned(site="A", action="terminated", port=1, to_port=25)]}, ["/splice_plan/0/to_port"],
    ),
    "fibres backwards": ({"segments": ranges((12, 1))}, ["/segments/0/fibres/0"]),
    "fibres beyond the count": ({"segments": ranges((1, 13))}, ["/segments/0/fibres/0"]),
    "a fibre paid for twice": ({"segments": ranges((1, 6), (6, 12))}, ["/segments/0/fibres/1"]),
    "a plan for another site": ({"splice_plan": [planned(site="C9")]}, ["/splice_plan/0/site"]),
    "a plan for too many fibres": (
        {"splice_plan": [planned(fibres={"first": 1, "last": 13})]}, ["/splice_plan/0/fibres"],
    ),
    "a fibre planned twice": (
        {"splice_plan": [planned(), planned(fibres={"first": 12, "last": 12})]}, ["/splice_plan/1/fibres"],
    ),
    "fibres that end where a closure is": ({"splice_plan": [planned(action="terminated")]}, ["/splice_plan/0/action"]),
    "fibres uncut at a terminal": ({"splice_plan": [planned(site="A")]}, ["/splice_plan/0/action"]),
    "an uncut fibre under another number": (
        {"splice_plan": [planned(to_cable_fibre=1)]}, ["/splice_plan/0/to_cable_fibre"],
    ),
    "two fibres in one": (
        {"splice_plan": [planned(action="spliced", fibres={"first": 1, "last": 1}, to_cable_fibre=2)]},
        ["/splice_plan", "/splice_plan"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "found"), CASES.values(), ids=CASES)
def test_a_fault_is_said_at_its_place(changes: Body, found: list[str]) -> None:
    assert pointers(**changes) == found


def test_a_design_without_faults_has_none() -> None:
    swapped = [
        planned(action="spliced", fibres={"first": 1, "last": 1}, to_cable_fibre=2),
        planned(action="spliced", fibres={"first": 2, "last": 2}, to_cable_fibre=1),
    ]
    assert pointers() == pointers(segments=[WEST, EAST]) == pointers(splice_plan=swapped) == []


@pytest.mark.parametrize("kind", ["stub", "splice_closure"])
def test_a_route_may_end_where_nothing_is_connected_yet(kind: str) -> None:
    end, stored = make_site("B", kind=kind), planned(site="B", action="stored")
    sites = [make_terminal("A"), make_site("C1"), make_site("C2"), end]
    assert pointers(sites=sites) == pointers(sites=sites, splice_plan=[stored]) == []


def test_cable_may_pass_that_nobody_pays_for() -> None:
    between = [WEST | {"sections": ["S1"]}, EAST]
    assert pointers(segments=between) == pointers(segments=[{**SEGMENT, "sections": []}]) == []


def test_a_tray_holds_as_many_splices_as_it_has_room_for_and_fibres_without_a_splice_take_none() -> None:
    spliced = planned(action="spliced", fibres={"first": 1, "last": 6}, tray=1)
    uncut = planned(fibres={"first": 7, "last": 12}, tray=1)
    pigtails = planned(site="A", action="terminated", fibres={"first": 1, "last": 6}, tray=1)
    for capacity, found in ((6, []), (5, ["/splice_plan/0/tray", "/splice_plan/2/tray"])):
        assert pointers(sites=with_trays((1, capacity)), splice_plan=[spliced, uncut, pigtails]) == found


def test_the_largest_design_of_nothing_but_faults_is_read_in_seconds() -> None:
    names = [f"C{number}" for number in range(500)]
    segment = {**SEGMENT, "sites": names, "sections": names[:499], "fibres": [{"first": 1, "last": 1728}] * 100}
    design = Design.model_validate(
        {
            **make_design(),
            "fibre_count": 1728,
            "sites": [make_site(name) for name in names],
            "sections": [make_section(name) for name in names[:499]],
            "segments": [{**segment, "id": f"G{number}"} for number in range(100)],
            "splice_plan": [planned(fibres={"first": 1, "last": 1728})] * 1000,
        }
    )
    started = time.process_time()
    assert len(faults_in(design)) > MOST_FAULTS
    assert time.process_time() - started < 5


@pytest.mark.parametrize(
    ("path", "pointer"),
    [
        (["records", 0, "loss_db"], "/records/0/loss_db"),
        (["a b", "c"], ""),
        (["events", 3, "\ud800"], "/events/3"),
        (["x" * 64], "/" + "x" * 64),
        (["x" * 65], ""),
        ([], ""),
    ],
)
def test_a_pointer_stops_before_what_is_no_name(path: list[int | str], pointer: str) -> None:
    assert pointer_to(path) == pointer


def test_no_answer_lists_more_faults_than_one_reads() -> None:
    errors = [{"type": "missing", "loc": ("x",), "msg": "Field required"}] * (MOST_FAULTS + 1)
    assert len(faults_of(errors)) == MOST_FAULTS
