"""What is agreed span by span: source and meter, its budget, return loss and required tests from panel to panel."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    LAUNCH_M,
    RECEIVE_M,
    Body,
    link_criterion,
    make_attenuation,
    make_design,
    make_otdr,
    make_return_loss,
    make_sections,
    make_site,
    make_terminal,
    only,
    required_test_criterion,
    return_loss_criterion,
    sealed,
    with_events,
)
from tests.unit.judgement.judging import judge


def panel(**changes: Any) -> Body:
    return make_site("P", kind="patch_panel", termination="pigtail", **changes)


def with_panel(**changes: Any) -> Body:
    """Return A, C1, the panel P, C2 and B: 2.5 km before the panel and 2 km behind it."""
    return make_design(
        sites=[make_terminal("A"), make_site("C1"), panel(**changes), make_site("C2"), make_terminal("B")],
        sections=make_sections([1000.0, 1500.0, 800.0, 1200.0]),
    )


def powers(*spans: tuple[str, str], loss_db: float, **changes: Any) -> list[Body]:
    """Return source and meter both ways over each span."""
    return [
        make_attenuation(from_site=near, to_site=far, loss_db=loss_db, **changes)
        for first, last in spans
        for near, far in ((first, last), (last, first))
    ]


BOTH = (("A", "P"), ("P", "B"))


def found_of(criterion: Body, bodies: list[Body], *, design: Body | None = None) -> list[FindingDocument]:
    """Return what a criterion finds of one fibre."""
    own = judge([*sealed(), *bodies], design=design or with_panel(), criteria=only(criterion))
    return own.document["findings"]


def ends_of(found: list[FindingDocument]) -> list[tuple[str, str]]:
    return [(one["from_site"], one["to_site"]) for one in found]


# 2.5 km at 0.25 dB/km, 3 splices at 0.1 (A, C1, P) and 2 connections at 0.5: 1.925 dB; behind the panel 0.125 less.
@pytest.mark.parametrize(
    ("loss_db", "outcomes"),
    [
        (1.799, ["conforming", "conforming"]),
        (1.8, ["conforming", "conforming"]),
        (1.801, ["conforming", "nonconforming"]),
        (1.925, ["conforming", "nonconforming"]),
        (1.926, ["nonconforming", "nonconforming"]),
    ],
)
def test_each_span_has_the_budget_of_its_own_fibre_splices_and_two_connections(
    loss_db: float, outcomes: list[str]
) -> None:
    found = found_of(link_criterion(over="span"), powers(*BOTH, loss_db=loss_db))
    assert ends_of(found) == list(BOTH)
    assert [one["limit"] for one in found] == ["1.9250", "1.8000"]
    assert [one["outcome"] for one in found] == outcomes


@pytest.mark.parametrize(("cords", "limit_db"), [(1, "1.9250"), (2, "1.4250"), (3, "0.9250")])
def test_a_reference_leaves_out_a_span_s_connections_as_it_does_a_link_s(cords: int, limit_db: str) -> None:
    found = found_of(link_criterion(over="span"), powers(*BOTH, loss_db=0.9, reference_cords=cords))
    assert found[0]["limit"] == limit_db


def test_a_patch_cord_between_two_panels_ports_is_in_no_span() -> None:
    found = found_of(link_criterion(over="span"), powers(*BOTH, loss_db=1.0), design=with_panel(patch_cord=True))
    assert [one["limit"] for one in found] == ["1.9250", "1.8000"]


def test_end_to_end_and_span_by_span_are_two_agreements() -> None:
    over_route = link_criterion(code="ROUTE")
    spans = powers(*BOTH, loss_db=1.0)
    [whole] = found_of(over_route, spans)
    assert (ends_of([whole]), whole["reason"]) == ([("A", "B")], "no_evidence")
    [whole] = found_of(over_route, powers(("A", "B"), loss_db=1.0))
    assert whole["outcome"] == "conforming"
    apart = found_of(link_criterion(over="span"), powers(("A", "B"), loss_db=1.0))
    assert [one["reason"] for one in apart] == ["no_evidence", "no_evidence"]


def test_what_is_missing_of_a_span_is_named_by_its_ends_and_asked_for_there() -> None:
    bodies = powers(*BOTH, loss_db=1.0)[:-1]
    judged = judge([*sealed(), *bodies], design=with_panel(), criteria=only(link_criterion(over="span")))
    first, second = judged.document["findings"]
    assert first["outcome"] == "conforming"
    assert (second["reason"], second["detail"]) == (
        "one_direction_only",
        "no attenuation test from B to P at 1550 nm",
    )
    [item] = judged.document["work"]
    assert (item["act"], item["sites"]) == ("test", ["P", "B"])
    assert item.get("tests") == [{"test": "attenuation", "wavelengths_nm": [1550], "from_sites": ["B"]}]


def test_a_fibre_that_runs_through_the_panel_uncut_has_one_span() -> None:
    uncut = [{"site": "P", "fibres": {"first": 1, "last": 1}, "action": "uncut"}]
    design = {**with_panel(), "splice_plan": uncut}
    found = found_of(link_criterion(over="span"), powers(("A", "B"), loss_db=1.0), design=design)
    assert ends_of(found) == [("A", "B")]


@pytest.mark.parametrize(
    ("least_span_m", "ends"), [(2000.0, list(BOTH)), (2000.01, [("A", "P")]), (2500.0, [("A", "P")]), (2500.01, [])]
)
def test_a_span_is_asked_only_where_the_criterion_applies(least_span_m: float, ends: list[tuple[str, str]]) -> None:
    criterion = link_criterion(over="span", applies_when={"least_span_m": least_span_m})
    assert ends_of(found_of(criterion, powers(*BOTH, loss_db=1.0))) == ends


# 2.5 km at least 0.16 dB/km is 0.4 dB, 2 km 0.32 dB; each is known to 0.3 dB.
@pytest.mark.parametrize(
    ("loss_db", "reasons"),
    [(0.1, [None, None]), (0.099, ["below_fibre_alone", None]), (0.019, ["below_fibre_alone"] * 2)],
)
def test_a_span_s_loss_below_its_own_fibre_alone_is_void(loss_db: float, reasons: list[str | None]) -> None:
    found = found_of(link_criterion(over="span"), powers(*BOTH, loss_db=loss_db))
    assert [one.get("reason") for one in found] == reasons


def test_traces_of_a_span_contradict_its_source_and_meter() -> None:
    design = with_panel()
    traces = [
        make_otdr(
            from_site=near,
            to_site=far,
            design=design,
            total_loss={"loss_db": 1.5, "from_m": launch_m, "to_m": launch_m + 2500.0},
        )
        for near, far, launch_m in (("A", "P", LAUNCH_M), ("P", "A", RECEIVE_M))
    ]
    near_it, far_off = (
        found_of(link_criterion(over="span"), [*powers(*BOTH, loss_db=loss_db), *traces])[0].get("reason")
        for loss_db in (1.5, 0.5)
    )
    assert (near_it, far_off) == (None, "whole_unlike_parts")


@pytest.mark.parametrize("test", ["otdr", "attenuation", "return_loss"])
def test_a_test_of_each_span_is_asked_for_in_both_directions(test: str) -> None:
    criterion = required_test_criterion(test=test, over="span")
    design = with_panel()
    make = {
        "otdr": lambda **ends: make_otdr(design=design, **ends),
        "attenuation": make_attenuation,
        "return_loss": make_return_loss,
    }[test]
    bodies = [make(from_site=near, to_site=far) for near, far in (*BOTH, *(one[::-1] for one in BOTH))]
    assert [one["outcome"] for one in found_of(criterion, bodies)] == ["conforming", "conforming"]
    assert [one["outcome"] for one in found_of(criterion, bodies[:-1])] == ["conforming", "undetermined"]
    # From end to end the connections in the panel are mated: that is no test from panel to panel.
    through = [make(from_site="A", to_site="B"), make(from_site="B", to_site="A")]
    assert [one["reason"] for one in found_of(criterion, through)] == ["no_evidence", "no_evidence"]


@pytest.mark.parametrize(("return_loss_db", "outcome"), [(31.999, "nonconforming"), (32.0, "conforming")])
def test_each_span_sends_back_at_both_of_its_ends(return_loss_db: float, outcome: str) -> None:
    bodies = [
        make_return_loss(from_site=near, to_site=far, return_loss_db=return_loss_db)
        for near, far in (*BOTH, *(one[::-1] for one in BOTH))
    ]
    found = found_of(return_loss_criterion(over="span"), bodies)
    assert [(one["site"], one["from_site"], one["to_site"]) for one in found] == [
        ("A", "A", "P"),
        ("P", "A", "P"),
        ("P", "P", "B"),
        ("B", "P", "B"),
    ]
    assert {one["outcome"] for one in found} == {outcome}


def test_a_trace_of_a_span_tells_what_that_span_sends_back() -> None:
    design = with_panel()
    traces = [
        with_events(
            make_otdr(from_site=near, to_site=far, design=design, backscatter_db=-81.0),
            lambda event: {
                **event,
                "attenuation_db_per_km": 0.2,
                **({"reflectance_db": -60.0} if event["kind"] == "reflective" else {}),
            },
        )
        for near, far in (("A", "P"), ("P", "A"))
    ]
    found = found_of(return_loss_criterion(over="span", basis="computed"), traces)
    assert [one["outcome"] for one in found] == ["conforming", "conforming", "undetermined", "undetermined"]
    assert "2500.00 m of fibre" in found[0]["detail"]
