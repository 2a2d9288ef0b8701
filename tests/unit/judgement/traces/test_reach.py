"""How far a trace reaches, and what it takes to prove that it reached the far end."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_attenuation,
    make_design,
    make_otdr,
    make_sections,
    make_site,
    only,
    required_test_criterion,
    sealed,
    splice_criterion,
    stretched,
    with_cords,
    with_events,
    with_site,
)
from tests.unit.judgement.judging import (
    because,
    criteria_behind,
    finding_of,
    judge,
    only_item,
    ready_items,
    splice_at_c1,
    where,
)
from worker.judgement.judge import FibreJudgement

LINKS = [make_attenuation(), make_attenuation(from_site="B", to_site="A")]
UNSEEN: dict[str, float | None] = {f"C{number}": None for number in range(1, 20)}


def sealed_everywhere(design: Body) -> list[Body]:
    """Return every closure of a design sealed."""
    sites = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    return sealed(sites=sites)


def judge_long(traces: list[Body], design: Body) -> FibreJudgement:
    """Judge traces of a long route, all of whose closures are sealed."""
    return judge([*sealed_everywhere(design), *traces], design=design)


def cut_at(trace: Body, at_m: float) -> Body:
    """Return a trace that ends at a break."""
    kept = with_events(trace, lambda event: event if event["distance_m"] < at_m and event["kind"] != "end" else None)
    return with_events(kept, dict, added=[{"distance_m": at_m, "kind": "end"}])


def required(judgement: FibreJudgement) -> tuple[str, str | None]:
    """Return outcome and reason of the required traces."""
    finding = finding_of(judgement, "OTDR-1550")
    return finding["outcome"], finding.get("reason")


def test_the_first_end_is_how_far_a_trace_reaches() -> None:
    def twice(trace: Body) -> Body:
        return with_events(trace, dict, added=[{"distance_m": 1200.0, "kind": "end"}])

    judgement = judge([*sealed(), *map(twice, both_ways(losses_db={"C2": 0.5}))])
    assert required(judgement) == ("undetermined", "beyond_reach")
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "beyond_reach"
    assert finding_of(judgement, "TERM-1550", site="B")["reason"] == "beyond_reach"
    # What lies behind the end is not read, but it is not hidden either.
    assert ("a_to_b", "2000.00", "0.500") in [
        (event["direction"], event["from_a_m"], event.get("loss_db"))
        for event in judgement.document["unexpected_events"]
    ]


@pytest.mark.parametrize("receive_m", [0.0, 300.0])
def test_a_trace_that_ends_within_the_scale_but_not_at_the_end_is_not_full(receive_m: float) -> None:
    design = make_design(closures=9)
    forward = cut_at(make_otdr(design=design, receive_m=receive_m), 500.0 + 9720.0)
    backward = make_otdr(design=design, from_site="B", to_site="A")
    judgement = judge_long([forward, backward], design)
    assert required(judgement)[0] == "undetermined"
    assert finding_of(judgement, "SPLICE-1550", site="C9")["outcome"] == "conforming"


def test_the_same_shortfall_from_both_ends_is_no_scale_where_the_joints_contradict_it() -> None:
    design = make_design(closures=9)
    forward = cut_at(make_otdr(design=design, receive_m=0.0), 500.0 + 9720.0)
    backward = cut_at(make_otdr(design=design, from_site="B", to_site="A", receive_m=0.0), 300.0 + 9720.0)
    assert required(judge_long([forward, backward], design)) == ("undetermined", "lengths_disagree")


def test_traces_of_both_directions_that_are_longer_alike_are_full() -> None:
    traces = [stretched(trace, by=1.01) for trace in both_ways()]
    assert required(judge([*sealed(), *traces])) == ("conforming", None)


def test_a_length_that_the_other_direction_does_not_have_is_not_full() -> None:
    forward, backward = both_ways()
    judgement = judge([*sealed(), stretched(forward, by=1.01), backward])
    assert required(judgement) == ("undetermined", "lengths_disagree")
    # The scale still tells where the joints are.
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0400"


def test_a_replaced_length_confirms_nothing() -> None:
    forward, backward = both_ways()
    first = stretched(make_otdr(from_site="B", to_site="A", made_at="2025-03-19T08:00:00Z"), by=1.01)
    assert required(judge([*sealed(), stretched(forward, by=1.01), first, backward]))[1] == "lengths_disagree"


def test_a_cord_that_is_named_and_was_not_connected_proves_no_end() -> None:
    design = make_design(closures=19)
    bare = [
        cut_at(trace, trace["events"][-1]["distance_m"] - trace["receive_cord"]["length_m"])
        for trace in both_ways(design=design, losses_db=UNSEEN)
    ]
    judgement = judge_long(bare, design)
    assert required(judgement) == ("undetermined", "pair_not_seen")
    for site in ("A", "B"):
        assert finding_of(judgement, "TERM-1550", site=site)["outcome"] == "undetermined"


def test_a_cord_of_another_length_than_named_is_not_the_cord() -> None:
    forward, backward = both_ways()
    backward = with_events(
        backward, lambda event: {**event, "distance_m": event["distance_m"] - 15.0 * (event["kind"] == "end")}
    )
    judgement = judge([*sealed(), forward, backward])
    assert finding_of(judgement, "TERM-1550", site="A")["reason"] == "pair_not_seen"
    assert finding_of(judgement, "TERM-1550", site="B")["outcome"] == "conforming"


@pytest.mark.parametrize("closures", [2, 9])
@pytest.mark.parametrize("longer_m", [25.0, -25.0, 60.0])
def test_a_connection_is_never_taken_for_an_unseen_one(longer_m: float, closures: int) -> None:
    design = make_design(closures=closures)
    losses: dict[str, float | None] = {**UNSEEN, "A": 1.5, "B": 1.5}
    traces = [with_cords(trace, longer_m=longer_m) for trace in both_ways(design=design, losses_db=losses)]
    judgement = judge_long(traces, design)
    for site in ("A", "B"):
        finding = finding_of(judgement, "TERM-1550", site=site)
        assert finding["outcome"] == "undetermined"
        assert finding["reason"] in {"pair_not_seen", "ambiguous_event", "beyond_reach"}
    assert required(judgement)[0] == "undetermined"
    # Each trace's events at the two connections are listed: they lie in the cords, or beside the ends.
    strays = [(event["direction"], event["loss_db"]) for event in judgement.document["unexpected_events"]]
    assert strays.count(("a_to_b", "1.500")) == strays.count(("b_to_a", "1.500")) == 2


def test_a_connection_at_a_panel_without_an_event_is_not_an_unseen_one() -> None:
    design = with_site(make_site("C1", kind="patch_panel", termination="factory_cord"), at=1)
    judgement = judge([*sealed(), *both_ways(design=design, losses_db={"C1": None})], design=design)
    assert finding_of(judgement, "TERM-1550", site="C1")["reason"] == "pair_not_seen"


@pytest.mark.parametrize(
    ("at_m", "from_a_m"), [(200.0, ["-300.00"]), (3650.0, ["3150.00"]), (3.0, []), (3797.0, [])], ids=str
)
def test_a_loss_inside_a_cord_is_listed_and_the_instruments_own_connection_is_not(
    at_m: float, from_a_m: list[str]
) -> None:
    forward, backward = both_ways()
    forward = with_events(forward, dict, added=[{"distance_m": at_m, "kind": "non_reflective", "loss_db": 0.4}])
    judgement = judge([*sealed(), forward, backward])
    assert [event["from_a_m"] for event in judgement.document["unexpected_events"]] == from_a_m
    assert splice_at_c1([*sealed(), forward, backward])["outcome"] == "conforming"


def panel_design() -> Body:
    """Return the usual route with a panel instead of its second closure."""
    return with_site(make_site("C2", kind="patch_panel", termination="factory_cord"), at=2)


def span_by_span(design: Body, **changes: Any) -> list[Body]:
    """Return traces of both spans of the route with a panel, from all their ends."""
    spans = [("A", "C2"), ("C2", "A"), ("C2", "B"), ("B", "C2")]
    return [make_otdr(design=design, from_site=start, to_site=end, **changes) for start, end in spans]


def test_a_panel_that_no_trace_passes_asks_for_the_trace_that_does() -> None:
    design = panel_design()
    judgement = judge([*sealed(), *span_by_span(design), *LINKS], design=design)
    assert required(judgement) == ("conforming", None)
    assert finding_of(judgement, "TERM-1550", site="C2")["reason"] == "no_evidence"
    advice = "at 1550 nm: test from a site before to a site behind"
    over, back = (f"o OTDR trace that counts runs over C2 {way} {advice}" for way in ("A to B", "B to A"))
    item = only_item(judgement)
    assert (item["act"], where(item), because(item)) == ("test", "C2", f"N{over}; n{back}.")
    assert criteria_behind(item) == ["TERM-1550"]
    through = judge([*sealed(), *span_by_span(design), *LINKS, make_otdr(design=design)], design=design)
    assert because(only_item(through)) == f"N{back}."


def test_a_trace_over_the_panel_that_no_longer_counts_is_asked_for_again() -> None:
    design = panel_design()
    old = both_ways(design=design, calibrated_until="2025-01-01")
    judgement = judge([*sealed(), *span_by_span(design), *LINKS, *old], design=design)
    assert finding_of(judgement, "TERM-1550", site="C2")["reason"] == "calibration_run_out"
    assert [(item["act"], where(item)) for item in ready_items(judgement)] == [("retest", "A-B")]
    assert all("does not count for C2" in because(item) for item in judgement.document["work"])


@pytest.mark.parametrize(("at_m", "strays"), [(3510.0, []), (3510.01, ["3010.01"])])
def test_what_lies_behind_the_far_end_is_in_the_cord_once_it_can_be_no_joint_s(at_m: float, strays: list[str]) -> None:
    # The far end is at 3500 m, the tolerance 10 m.
    forward, backward = both_ways()
    extra = {"distance_m": at_m, "kind": "non_reflective", "loss_db": 0.03}
    judgement = judge([*sealed(), with_events(forward, dict, added=[extra]), backward])
    assert [event["from_a_m"] for event in judgement.document["unexpected_events"]] == strays


def test_only_required_tests_need_the_far_end() -> None:
    criteria = only(splice_criterion(), required_test_criterion())
    forward = cut_at(make_otdr(), 2700.0)
    judgement = judge([*sealed(), forward, make_otdr(from_site="B", to_site="A")], criteria=criteria)
    assert finding_of(judgement, "SPLICE-1550", site="C2")["outcome"] == "conforming"
    assert required(judgement) == ("undetermined", "beyond_reach")


def without_end(trace: Body, *, beyond_m: float) -> Body:
    """Return a trace whose noise hides everything beyond a distance, the fibre's end too."""
    return with_events(
        trace, lambda event: event if event["kind"] != "end" and event["distance_m"] < beyond_m else None
    )


# 2 % too long, the seventh joint lies 140 m beyond its spot; the tolerance is 20 m.
@pytest.mark.parametrize(("by", "outcome", "value"), [(1.02, "nonconforming", "0.2000"), (1.04, "undetermined", None)])
def test_a_trace_that_does_not_reach_the_end_takes_a_scale_that_is_agreed_from_its_joints(
    by: float, outcome: str, value: str | None
) -> None:
    design = make_design(closures=9)
    traces = [
        without_end(stretched(trace, by=by), beyond_m=8400.0)
        for trace in both_ways(design=design, losses_db={"C7": 0.2})
    ]
    finding = finding_of(judge_long(traces, design), "SPLICE-1550", site="C7")
    assert (finding["outcome"], finding.get("value")) == (outcome, value)


def test_a_trace_that_does_not_reach_the_end_takes_its_scale_from_full_traces() -> None:
    # One joint alone, between others that are not seen, could be either of two by its own distance.
    design = make_design(closures=9, sections=make_sections([1000.0] * 6 + [90.0] * 2 + [1000.0] * 2))
    alone: dict[str, float | None] = {**UNSEEN, "C7": 0.2, "A": 0.3, "B": 0.3}
    full = [stretched(trace, by=1.015) for trace in both_ways(design=design, wavelength_nm=1310)]
    forward, backward = both_ways(design=design, losses_db=alone)
    short = without_end(stretched(forward, by=1.015), beyond_m=7500.0)
    judgement = judge_long([*full, short, stretched(backward, by=1.015)], design)
    assert finding_of(judgement, "SPLICE-1550", site="C7")["value"] == "0.2000"
    without_full = judge_long([short, stretched(backward, by=1.015)], design)
    assert finding_of(without_full, "SPLICE-1550", site="C7")["value"] == "0.2000"


def test_a_scale_beyond_what_is_agreed_is_none_though_it_fits_every_joint() -> None:
    # 9 % too long: the first joint is within tolerance of its spot and tells that scale.
    design = make_design(closures=4, sections=make_sections([100.0] + [1000.0] * 4))
    traces = [
        without_end(stretched(make_otdr(design=design, losses_db={"C2": 0.2}), by=1.09), beyond_m=4000.0),
        make_otdr(design=design, from_site="B", to_site="A", losses_db={"C2": 0.2}),
    ]
    assert finding_of(judge_long(traces, design), "SPLICE-1550", site="C2")["outcome"] == "undetermined"
