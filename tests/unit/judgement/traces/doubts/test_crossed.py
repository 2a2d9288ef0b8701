"""A trace that fits the route from its other end, or another fibre's plan, says so and proves nothing of this fibre."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_design,
    make_otdr,
    make_sections,
    sealed,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.judge import FibreJudgement

CLOSURES = tuple(f"C{number}" for number in range(1, 6))


def uneven_design(**changes: Any) -> Body:
    """Return a route whose closures stand elsewhere seen from its other end."""
    sections = make_sections([400.0, 900.0, 700.0, 1600.0, 500.0, 1300.0])
    return make_design(closures=5, sections=sections, **changes)


def uncut(site: str, *, first: int, last: int) -> Body:
    """Return a plan entry: fibres that run through a site without a joint."""
    return {"site": site, "fibres": {"first": first, "last": last}, "action": "uncut"}


def reversed_trace(design: Body) -> Body:
    """Return a trace taken from B and posted as one from A."""
    backward = make_otdr(design=design, from_site="B", to_site="A", launch_m=500.0, receive_m=300.0)
    forward = make_otdr(design=design)
    return with_events({**forward, "events": backward["events"]}, dict)


def judge_on(design: Body, traces: list[Body]) -> FibreJudgement:
    """Judge traces of a route whose closures are all sealed."""
    return judge([*sealed(sites=CLOSURES), *traces], design=design)


def hold_alike(design: Body, *, unseen: list[str], bend_m: float) -> None:
    """Hold that traces fit a route though some splices are unseen and the one from A shows a bend."""
    forward, backward = both_ways(design=design, losses_db=dict.fromkeys(unseen))
    judgement = judge_on(design, [with_event_from_a(forward, bend_m, loss_db=0.3), backward])
    assert "unlike_traces" not in judgement.document


def test_a_trace_from_the_other_end_is_named_and_proves_nothing() -> None:
    design = uneven_design()
    _, backward = both_ways(design=design)
    wrong = reversed_trace(design)
    judgement = judge_on(design, [wrong, backward])
    [unlike] = judgement.document["unlike_traces"]
    assert (unlike["record"], unlike["reason"], "fibres" in unlike) == (wrong["id"], "route_reversed", False)
    for site in CLOSURES:
        finding = finding_of(judgement, "SPLICE-1550", site=site)
        assert (finding["outcome"], finding["reason"]) == ("undetermined", "route_reversed")
    assert finding_of(judgement, "OTDR-1550")["reason"] == "route_reversed"


def test_on_a_route_that_is_the_same_from_both_ends_nothing_can_be_said() -> None:
    design = make_design(closures=5)
    judgement = judge_on(design, [reversed_trace(design), both_ways(design=design)[1]])
    assert "unlike_traces" not in judgement.document
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "conforming"


@pytest.mark.parametrize("bends", [1, 2, 3])
def test_a_fibre_with_bends_is_not_a_reversed_one(bends: int) -> None:
    design = uneven_design()
    added = [{"distance_m": 500.0 + at_m, "kind": "non_reflective", "loss_db": 0.3} for at_m in (150.0, 1700.0, 3000.0)]
    forward, backward = both_ways(design=design)
    judgement = judge_on(design, [with_events(forward, dict, added=added[:bends]), backward])
    assert "unlike_traces" not in judgement.document
    assert finding_of(judgement, "SPLICE-1550", site="C2")["outcome"] == "conforming"
    assert len(judgement.document["unexpected_events"]) == bends


def planned_design() -> Body:
    """Return a route in which fibres 1 to 6 and 7 to 12 are spliced at different closures."""
    return uneven_design(
        splice_plan=[uncut("C2", first=1, last=6), uncut("C4", first=7, last=9), uncut("C4", first=10, last=12)]
    )


def test_traces_of_a_fibre_with_another_plan_name_the_fibres_that_they_fit() -> None:
    design = planned_design()
    # Fibre 1 has no joint in C2; what is posted as its traces shows one there, and none in C4.
    traces = both_ways(design=design, losses_db={"C4": None})
    judgement = judge_on(design, traces)
    unlike = judgement.document["unlike_traces"]
    assert [one["record"] for one in unlike] == [trace["id"] for trace in traces]
    assert {one["reason"] for one in unlike} == {"other_fibre_likelier"}
    assert [one["fibres"] for one in unlike] == [[{"first": 7, "last": 12}]] * 2
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "other_fibre_likelier"


def test_a_fibres_own_plan_fits_it() -> None:
    design = planned_design()
    judgement = judge_on(design, both_ways(design=design, losses_db={"C2": None}))
    assert "unlike_traces" not in judgement.document
    assert finding_of(judgement, "SPLICE-1550", site="C4")["outcome"] == "conforming"


def test_a_loss_in_a_closure_that_a_fibre_runs_through_uncut_is_no_other_fibre() -> None:
    design = planned_design()
    judgement = judge_on(design, both_ways(design=design))
    assert "unlike_traces" not in judgement.document
    assert [event["from_a_m"] for event in judgement.document["unexpected_events"]] == ["1300.00", "1300.00"]


def test_splices_that_are_merely_unseen_are_no_other_plan() -> None:
    hold_alike(planned_design(), unseen=["C2", "C4"], bend_m=150.0)


def test_one_bend_and_one_unseen_splice_do_not_turn_a_nearly_even_route_round() -> None:
    # Closures at 500, 1500, 2500, 3000 and 3500 m of 4000: only the fourth stands elsewhere seen from B, at 1000 m.
    sections = make_sections([500.0, 1000.0, 1000.0, 500.0, 500.0, 500.0])
    hold_alike(make_design(closures=5, sections=sections), unseen=["C4"], bend_m=1000.0)


def test_one_loss_in_a_closure_where_other_fibres_are_spliced_is_no_other_fibre() -> None:
    # Fibres 7 to 12 are spliced everywhere.
    design = uneven_design(splice_plan=[uncut("C2", first=1, last=6)])
    judgement = judge_on(design, both_ways(design=design))
    assert "unlike_traces" not in judgement.document
    assert len(judgement.document["unexpected_events"]) == 2


def test_a_plan_with_fewer_joints_fits_no_better_because_splices_are_unseen() -> None:
    design = uneven_design(splice_plan=[uncut("C4", first=7, last=12), uncut("C5", first=7, last=12)])
    hold_alike(design, unseen=["C4", "C5"], bend_m=150.0)
