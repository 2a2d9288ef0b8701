"""What an instrument measures is distance times index: two that state theirs agree, whatever each was set to."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    coefficient_criterion,
    layout_of,
    length_criterion,
    make_design,
    make_otdr,
    make_sections,
    only,
    sealed,
    set_to,
    stretched,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.glass import Index, reference_index_e5
from worker.judgement.judge import FibreJudgement

# 0.34 % apart, as instruments are met; customary for G.652 is 1.468, from memory.
LOW, HIGH = 1.4625, 1.4675
CLOSURES = tuple(f"C{number}" for number in range(1, 10))


def long_design(*, optics: Any = (), sections: int = 10, **changes: Any) -> Body:
    """Return a route of 10 km, all sections of which state the same, or nothing."""
    own = make_sections([1000.0] * sections, optics=list(optics), **changes)
    return make_design(closures=sections - 1, sections=own)


def judge_long(traces: list[Body], design: Body | None = None, **criteria: Any) -> FibreJudgement:
    """Judge traces of the long route, all of whose closures are sealed."""
    return judge([*sealed(sites=CLOSURES), *traces], design=long_design() if design is None else design, **criteria)


def length_of(traces: list[Body], design: Body | None = None) -> FindingDocument:
    """Return the finding about the length of the long route."""
    judgement = judge_long(traces, design, criteria=only(length_criterion(limit_percent=1.5)))
    [finding] = judgement.document["findings"]
    return finding


def undecided(judgement: FibreJudgement) -> list[tuple[str, str | None]]:
    """Return the splices and traces that do not conform, with the reason."""
    return [
        (one["criterion"], one.get("reason"))
        for one in judgement.document["findings"]
        if one["quantity"] in {"splice_loss", "termination_loss", "required_test"} and one["outcome"] != "conforming"
    ]


def unstated(trace: Body) -> Body:
    """Return a trace that does not say what its instrument was set to."""
    return with_events({name: value for name, value in trace.items() if name != "group_index"}, dict)


def test_two_instruments_set_to_indices_that_they_state_agree() -> None:
    there, back = both_ways(design=long_design())
    traces = [set_to(there, LOW), set_to(back, HIGH)]
    # Behind its cord one shows the end at 10537.61 m, the other at 10303.51 m instead of 10300 m: 0.37 and 0.03 %.
    assert undecided(judge_long(traces)) == []
    finding = length_of(traces)
    assert (finding["value"], finding["outcome"]) == ("0.0000", "conforming")
    assert finding["detail"] == (
        "10000.00 m (A to B at 1550 nm, index 1.46250 taken out for 1.46800) and "
        "10000.00 m (B to A at 1550 nm, index 1.46750 taken out for 1.46800), designed 10000.00 m"
    )


def test_without_a_stated_index_each_trace_has_the_scale_that_the_connections_at_its_ends_show() -> None:
    there, back = both_ways(design=long_design())
    assert undecided(judge_long([unstated(set_to(there, LOW)), unstated(set_to(back, HIGH))])) == []


def test_without_a_stated_index_a_length_is_no_scale_where_an_end_shows_no_connection() -> None:
    there, back = both_ways(design=long_design())
    dull = with_events(
        set_to(there, LOW), lambda event: {**event, "kind": "non_reflective"} if at_end(event) else event
    )
    judgement = judge_long([unstated(dull), unstated(set_to(back, HIGH))])
    assert finding_of(judgement, "OTDR-1550")["reason"] == "lengths_disagree"


def at_end(event: Body) -> bool:
    """Tell whether an event is the connection at the far end."""
    return bool(event["kind"] == "reflective" and event["distance_m"] > 5_000)


def test_without_a_stated_index_a_scale_that_both_ends_have_is_found() -> None:
    traces = [unstated(stretched(trace, by=1.01)) for trace in both_ways(design=long_design())]
    assert undecided(judge_long(traces)) == []
    finding = length_of(traces)
    assert (finding["value"], finding["outcome"]) == ("1.0000", "conforming")
    assert "10100.00 m (A to B at 1550 nm, no index stated)" in finding["detail"]


def test_more_fibre_than_designed_is_confirmed_from_both_ends_whatever_each_was_set_to() -> None:
    # 1.2 % more fibre in the cable, and indices 0.34 % apart: the lengths shown are 1.58 and 1.23 % beyond design.
    there, back = (stretched(trace, by=1.012) for trace in both_ways(design=long_design()))
    traces = [set_to(there, LOW), set_to(back, HIGH)]
    assert undecided(judge_long(traces)) == []
    assert length_of(traces)["value"] == "1.2000"


# 0.2 % of 10 km are 20 m, in the fibre's metres, whatever the trace's are.
@pytest.mark.parametrize(
    ("longer_m", "reason"), [(19.97, None), (20.0, None), (20.03, "lengths_disagree"), (-20.03, "lengths_disagree")]
)
def test_a_length_is_held_against_the_design_with_the_index_taken_out(longer_m: float, reason: str | None) -> None:
    there, back = both_ways(design=long_design())
    at_m = 500.0 + 10_000.0

    def moved(event: Body) -> Body:
        far = event["distance_m"] >= at_m
        return {**event, "distance_m": round(event["distance_m"] + longer_m * far, 2)}

    judgement = judge_long([set_to(with_events(there, moved), LOW), back])
    assert finding_of(judgement, "OTDR-1550").get("reason") == reason


def test_a_short_trace_borrows_the_scale_of_one_that_was_set_otherwise() -> None:
    # The short one from A ends behind C4; 2 % more fibre than designed puts C4 beyond tolerance by its plain metres.
    there, back = (stretched(trace, by=1.02) for trace in both_ways(design=long_design()))
    cut_m = 500.0 + 4_600.0
    cut = with_events(there, lambda event: event if event["distance_m"] < cut_m else None)
    short = with_events({**cut, "pulse_ns": 10}, dict, added=[{"distance_m": cut_m, "kind": "end"}])
    judgement = judge_long([set_to(short, LOW), set_to(there, HIGH), set_to(back, HIGH)])
    assert undecided(judgement) == []
    readings = finding_of(judgement, "SPLICE-1550", site="C4")["readings"]
    assert {reading["record"] for reading in readings} >= {set_to(short, LOW)["id"]}


def test_a_break_lies_where_it_does_whatever_each_was_set_to() -> None:
    there, back = both_ways(design=long_design())

    def broken(trace: Body, after_m: float) -> Body:
        at_m = trace["launch_cord"]["length_m"] + after_m
        kept = with_events(
            trace, lambda event: event if event["distance_m"] < at_m and event["kind"] != "end" else None
        )
        return with_events(kept, dict, added=[{"distance_m": at_m, "kind": "end"}])

    traces = [set_to(broken(there, 2500.0), LOW), set_to(broken(back, 7500.0), HIGH)]
    [found] = judge_long(traces).document["breaks"]
    assert abs(float(found["from_a_m"]) - 2500.0) <= 0.02


@pytest.mark.parametrize(
    ("stated", "reference_e5"),
    [
        ([1.47, 1.47, 1.47], 147_000),
        ([1.47, 1.47, 1.46], 146_667),
        # One section that says nothing: no mean of stated and guessed.
        ([1.47, None, 1.47], 146_800),
    ],
)
def test_the_fibre_s_index_is_what_all_its_sections_state(stated: list[float | None], reference_e5: int) -> None:
    design = make_design()
    for section, index in zip(design["sections"], stated, strict=True):
        section["optics"] = [] if index is None else [{"wavelength_nm": 1550, "group_index": index}]
    assert reference_index_e5(layout_of(design), (0, 3), 1550) == reference_e5
    # Of another wavelength nobody has said anything; between two customary ones the nearest stands.
    assert reference_index_e5(layout_of(design), (0, 3), 1625) == 146_850
    assert reference_index_e5(layout_of(design), (0, 3), 1600) == 146_850


def test_a_stated_index_of_the_fibre_is_what_lengths_are_made_by() -> None:
    design = long_design(optics=[{"wavelength_nm": 1550, "group_index": 1.475}])
    traces = [set_to(trace, LOW, glass=1.475) for trace in both_ways(design=design)]
    finding = length_of(traces, design)
    assert (finding["value"], finding["outcome"]) == ("0.0000", "conforming")
    assert "index 1.46250 taken out for 1.47500" in finding["detail"]


def test_an_index_is_taken_out_and_put_back() -> None:
    # 10.000 us there and back are 1021.1 m at 1.468 [C]: 1024.94 m at 1.4625.
    index = Index(146_250, 146_800)
    assert index.on_trace_um(1_021_100_000) == 1_024_940_034
    assert abs(index.in_glass_um(index.on_trace_um(1_021_100_000)) - 1_021_100_000) <= 1
    assert Index(None, 146_800).on_trace_um(7) == Index(146_800, 146_800).in_glass_um(7) == 7


# 0.5 % is what instruments are set apart for ordinary glass at most, from memory: 1.4625 to 1.4700.
@pytest.mark.parametrize(("longer", "reason"), [(1.0034, None), (1.005, None), (1.0051, "lengths_disagree")])
def test_an_index_that_is_not_the_stated_one_moves_no_joint(longer: float, reason: str | None) -> None:
    """Both ends and all joints show, each where the trace's own length has it: its metres are wrong, its losses not."""
    there, back = both_ways(design=long_design())
    judgement = judge_long([stretched(there, by=longer), back])
    assert {found for _, found in undecided(judgement)} == ({reason} if reason else set())


def test_metres_of_an_index_that_is_not_the_stated_one_prove_no_length_and_no_coefficient() -> None:
    there, back = both_ways(design=long_design())
    for criterion in (length_criterion(limit_percent=1.5), coefficient_criterion()):
        judgement = judge_long([stretched(there, by=1.0034), back], criteria=only(criterion))
        assert {one["reason"] for one in judgement.document["findings"]} == {"index_unlike"}


def test_two_lengths_of_a_fibre_without_a_joint_between_are_no_index() -> None:
    design = make_design(closures=0, sections=make_sections([10_000.0]))
    there, back = both_ways(design=design)
    judgement = judge([stretched(there, by=1.0034), back], design=design)
    assert {reason for _, reason in undecided(judgement)} == {"lengths_disagree"}


# 4 km of cord are 8 m longer by an index 0.2 % lower; the connection behind it shows where it ends.
@pytest.mark.parametrize(("is_stated", "from_a_m"), [(False, 100.0), (True, 108.0)])
def test_without_a_stated_index_the_fibre_begins_at_the_connection_behind_the_cord(
    is_stated: bool, from_a_m: float
) -> None:
    there = with_event_from_a(make_otdr(design=long_design(), launch_m=4000.0), 100.0, loss_db=0.3)
    back = make_otdr(design=long_design(), from_site="B", to_site="A", receive_m=4000.0)
    traces = [set_to(trace, 1.46507) for trace in (there, back)]
    judgement = judge_long([{**trace, "group_index": 1.468} if is_stated else unstated(trace) for trace in traces])
    [found] = [one for one in judgement.document["unexpected_events"] if one["direction"] == "a_to_b"]
    assert abs(float(found["from_a_m"]) - from_a_m) < 0.5
