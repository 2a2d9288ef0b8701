"""Where each kind of record fits a route: its sites, its fibre, and the joint that it is about."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from service.actions.records.fit import check_fit
from service.vocabulary.records.record import RECORD
from tests.factories import (
    Body,
    layout_of,
    make_cable_laying,
    make_calibration,
    make_continuity,
    make_design,
    make_site,
    make_splice,
    make_terminal,
    make_termination,
)
from tests.record_kinds import CONNECTIONS, MAKE, TESTS, read_record

NOW = datetime(2026, 1, 1, tzinfo=UTC)


def faults(body: Any, design: Body | None = None) -> list[tuple[str, str]]:
    """Return what keeps a posted record from being one of a route."""
    found = check_fit(read_record(body), layout_of(design), now=NOW)
    return [(fault.pointer, fault.detail) for fault in found]


@pytest.mark.parametrize("kind", MAKE)
def test_each_kind_fits_the_usual_route(kind: str) -> None:
    assert faults(MAKE[kind]()) == []


@pytest.mark.parametrize("kind", [kind for kind in MAKE if kind in CONNECTIONS or kind in {"closure_state", "splice"}])
def test_work_at_a_site_of_another_route_does_not_fit(kind: str) -> None:
    assert faults(MAKE[kind](site="ELSEWHERE")) == [("/site", "is not a site of this route")]


@pytest.mark.parametrize("kind", TESTS)
def test_a_test_between_sites_of_another_route_does_not_fit(kind: str) -> None:
    body = {**MAKE[kind](), "from_site": "X", "to_site": "Y"}
    unknown = "is not a site of this route"
    assert faults(body) == [("/from_site", unknown), ("/to_site", unknown)]
    assert faults({**body, "from_site": "B", "to_site": "B"}) == [("/to_site", "is where the test starts")]


@pytest.mark.parametrize("kind", [*CONNECTIONS, *TESTS])
def test_a_fibre_beyond_the_count_does_not_fit(kind: str) -> None:
    assert faults(MAKE[kind](fibre=12)) == []
    assert faults(MAKE[kind](fibre=13)) == [("/fibre", "the route has 12 fibres")]


def test_a_fibre_seen_beyond_the_count_does_not_fit_and_one_that_stayed_dark_does() -> None:
    assert faults(make_continuity(seen=13)) == [("/seen_fibre", "the route has 12 fibres")]
    assert faults(make_continuity(seen=12)) == []
    assert faults(make_continuity(seen=None)) == []


def test_a_calibration_fits_without_a_site_and_at_one_of_the_route() -> None:
    assert faults(make_calibration()) == []
    assert faults(make_calibration(site="C1")) == []
    assert faults(make_calibration(site="ELSEWHERE")) == [("/site", "is not a site of this route")]


@pytest.mark.parametrize("kind", MAKE)
def test_nothing_is_made_in_the_future(kind: str) -> None:
    [(pointer, detail)] = faults(MAKE[kind](made_at="2026-01-01T00:02:00.000001Z"))
    assert pointer == "/made_at"
    assert detail.startswith("is in the future")


def test_every_time_stands_at_the_top_of_a_record_where_it_is_held_against_the_clock() -> None:
    forms = RECORD.json_schema()["$defs"]
    parts = {name: form for name, form in forms.items() if not name.endswith("Record")}
    assert "date-time" in json.dumps(forms)
    assert "date-time" not in json.dumps(parts)


@pytest.mark.parametrize("kind", CONNECTIONS)
def test_a_connection_is_where_the_plan_has_a_mated_pair(kind: str) -> None:
    none_here = [("/fibre", "has no mated pair at this site by the splice plan")]
    assert faults(MAKE[kind](site="C1")) == none_here
    plan = [{"site": "A", "fibres": {"first": 1, "last": 1}, "action": "stored"}]
    stored_at_a = make_design(splice_plan=plan)
    assert faults(MAKE[kind](site="A"), stored_at_a) == none_here
    assert faults(MAKE[kind](site="A", fibre=2), stored_at_a) == []


@pytest.mark.parametrize("kind", CONNECTIONS)
@pytest.mark.parametrize(
    ("site", "own", "other"),
    # A pigtail is a splice and a pair: seen from A the pair comes first at A, and last at B.
    [("A", 1, 2), ("B", 2, 1)],
)
def test_a_connection_may_name_the_pair_and_not_the_splice_behind_it(
    kind: str, site: str, own: int, other: int
) -> None:
    assert faults(MAKE[kind](site=site)) == []
    assert faults(MAKE[kind](site=site, position=own)) == []
    assert faults(MAKE[kind](site=site, position=other)) == [("/position", f"is no mated pair; one of {own}")]


@pytest.mark.parametrize("kind", CONNECTIONS)
@pytest.mark.parametrize(("termination", "pairs"), [("pigtail", (2, 3)), ("factory_cord", (1, 2))])
def test_a_connection_of_a_panel_with_a_cord_says_which_of_the_two(
    kind: str, termination: str, pairs: tuple[int, int]
) -> None:
    design = make_design()
    design["sites"][1] = make_site("P", kind="patch_panel", termination=termination, patch_cord=True)
    design["segments"][0]["sites"] = ["A", "P", "C2", "B"]
    listed = ", ".join(map(str, pairs))
    assert faults(MAKE[kind](site="P"), design) == [("/position", f"say which: one of {listed}")]
    for position in range(1, 5):
        refusal = [("/position", f"is no mated pair; one of {listed}")]
        assert faults(MAKE[kind](site="P", position=position), design) == ([] if position in pairs else refusal)


def test_a_terminal_whose_connector_is_put_on_the_fibre_has_no_splice_to_record() -> None:
    design = make_design()
    design["sites"][0] = make_terminal("A", termination="splice_on_connector")
    assert faults(make_termination(how="splice_on_connector"), design) == []
    detail = "has no splice at this site by the splice plan"
    assert faults(make_splice(site="A"), design) == [("/joints/0/fibre", detail)]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"section": "S9"}, "/section"),
        ({"section": "S2"}, "/sheath_marks"),
        ({"marks_m": {"A": 1.0, "C2": 900.0}}, "/sheath_marks"),
        ({"laid_on": "2026-01-03"}, "/laid_on"),
    ],
)
def test_cable_is_laid_between_the_ends_of_its_section_and_not_in_days_to_come(changes: Body, pointer: str) -> None:
    assert [found for found, _ in faults(make_cable_laying(**changes))] == [pointer]


def test_where_clocks_are_ahead_cable_may_have_been_laid_on_the_day_that_begins_there() -> None:
    assert faults(make_cable_laying(laid_on="2026-01-02")) == []


def test_two_marks_at_one_end_tell_no_length() -> None:
    marks = [{"site": "A", "mark_m": 1.0}, {"site": "A", "mark_m": 900.0}]
    assert [found for found, _ in faults({**make_cable_laying(), "sheath_marks": marks})] == ["/sheath_marks"]
