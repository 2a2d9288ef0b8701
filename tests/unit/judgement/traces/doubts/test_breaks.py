"""A break is where the traces of both ends stop; its cable metres are fibre metres over the section's excess."""

from typing import Any

import pytest

from tests.factories import Body, both_ways, make_design, make_otdr, make_sections, sealed, with_events
from tests.unit.judgement.judging import judge

# Sections of 1000 m of cable with 1 % excess: closures at 1010, 2020, 3030 and 4040 m of fibre, B at 5050 m.
CLOSURES = ("C1", "C2", "C3", "C4")


def loose_tube_design() -> Body:
    """Return a route whose fibre is longer than its cable by 1 %."""
    return make_design(closures=4, sections=make_sections([1000.0] * 5, excess_percent=1.0))


def broken(trace: Body, *, after_m: float, longer: float = 1.0) -> Body:
    """Return a trace that ends after so much fibre behind its launch cord, measured so many times too long."""
    launch_m = trace["launch_cord"]["length_m"]

    def shown(event: Body) -> Body | None:
        along_m = event["distance_m"] - launch_m
        return None if along_m >= after_m or event["kind"] == "end" else scaled(event, along_m)

    def scaled(event: Body, along_m: float) -> Body:
        return {**event, "distance_m": round(launch_m + along_m * longer, 2)}

    end = {"distance_m": round(launch_m + after_m * longer, 2), "kind": "end"}
    return with_events(trace, shown, added=[end])


def judge_broken(*, from_a_m: float, from_b_m: float, longer: float = 1.0, losses_db: Any = None) -> Any:
    """Judge a fibre whose traces stop short."""
    design = loose_tube_design()
    forward, backward = both_ways(design=design, losses_db=losses_db)
    records = [broken(forward, after_m=from_a_m, longer=longer), broken(backward, after_m=from_b_m, longer=longer)]
    return judge([*sealed(sites=CLOSURES), *records], design=design).document


def test_traces_that_stop_at_one_spot_tell_a_break_in_fibre_and_cable_metres() -> None:
    document = judge_broken(from_a_m=2525.0, from_b_m=2525.0)
    [found] = document["breaks"]
    # 2525 - 2020 = 505 m of fibre into the third section, and 505 / 1.01 = 500 m of cable.
    assert (found["from_a_m"], found["section"], found["cable_m"]) == ("2525.00", "S3", "500.00")
    assert len(found["records"]) == 2
    assert "short_traces" not in document


@pytest.mark.parametrize(("gap_m", "is_break"), [(-25.1, True), (25.3, True), (-25.2, False), (25.4, False)])
def test_a_break_is_one_spot_where_each_end_may_lie_at_it(gap_m: float, is_break: bool) -> None:
    # 0.2 % of 5050 m are 10.1 m. The farthest joint of each trace is 2020 m away and tells its scale to within that:
    # at 2525 m, 12.6 m from one end, and 0.005 m more for each metre of the gap from the other.
    document = judge_broken(from_a_m=2525.0, from_b_m=2525.0 + gap_m)
    assert ("breaks" in document) is is_break
    assert len(document.get("short_traces", [])) == (0 if is_break else 2)


@pytest.mark.parametrize(
    ("from_a_m", "within_m"),
    # From B the second one shows 4750 m of fibre as 4845 m: with the cord of 300 m at A, what a whole span may show.
    [(2000.0, 0.02), (300.0, 10.1)],
    ids=["far from both ends", "nearer to an end than its cord is long"],
)
def test_a_wrong_index_does_not_move_a_break_and_hides_none(from_a_m: float, within_m: float) -> None:
    [found] = judge_broken(from_a_m=from_a_m, from_b_m=5050.0 - from_a_m, longer=1.02)["breaks"]
    assert abs(float(found["from_a_m"]) - from_a_m) <= within_m


def test_without_joints_a_break_is_found_within_the_scale_only() -> None:
    unseen: dict[str, None] = dict.fromkeys(CLOSURES)
    # 144 m are missing, and 3 % of 2453 m twice are 147.2 m; of 148 m and twice 2451 m too few. They are spread evenly.
    [found] = judge_broken(from_a_m=2453.0, from_b_m=2453.0, losses_db=unseen)["breaks"]
    assert found["from_a_m"] == "2525.00"
    assert "breaks" not in judge_broken(from_a_m=2451.0, from_b_m=2451.0, losses_db=unseen)


def splice_at(document: Any, site: str) -> Any:
    """Return the finding about the splice at a site."""
    [finding] = [one for one in document["findings"] if one["criterion"] == "SPLICE-1550" and one["site"] == site]
    return finding


def test_a_splice_that_may_lie_behind_a_break_is_not_said_to_be_unseen_before_it() -> None:
    # From A nothing tells the scale: 3 % of 1010 m are 30.3 m, so at 1040 m the end may be that of C1's own splice.
    unseen: dict[str, float | None] = {"C1": None}
    assert splice_at(judge_broken(from_a_m=1040.0, from_b_m=4010.0, losses_db=unseen), "C1")["reason"] == "beyond_reach"
    past = splice_at(judge_broken(from_a_m=1041.0, from_b_m=4060.0, losses_db=unseen), "C1")
    assert past["outcome"] == "conforming"


@pytest.mark.parametrize(("behind_m", "outcome"), [(10.1, "undetermined"), (10.2, "conforming")])
def test_a_splice_at_which_the_fibre_ends_is_not_measured(behind_m: float, outcome: str) -> None:
    document = judge_broken(from_a_m=1010.0 + behind_m, from_b_m=4060.0)
    assert splice_at(document, "C1")["outcome"] == outcome


def test_a_trace_that_stops_alone_says_how_far_it_reaches() -> None:
    design = loose_tube_design()
    forward, backward = both_ways(design=design)
    short = broken(forward, after_m=1515.0)
    document = judge([*sealed(sites=CLOSURES), short, backward], design=design).document
    [alone] = document["short_traces"]
    assert (alone["record"], alone["direction"]) == (short["id"], "a_to_b")
    assert (alone["from_a_m"], alone["section"], alone["cable_m"]) == ("1515.00", "S2", "500.00")
    assert "breaks" not in document


def test_a_trace_without_an_end_tells_no_break() -> None:
    traces = [with_events(trace, lambda event: None if event["kind"] == "end" else event) for trace in both_ways()]
    document = judge([*sealed(), *traces]).document
    assert "breaks" not in document
    assert "short_traces" not in document


def test_both_wavelengths_tell_of_one_break() -> None:
    design = loose_tube_design()
    traces = [
        broken(trace, after_m=2525.0) for nm in (1310, 1550) for trace in both_ways(design=design, wavelength_nm=nm)
    ]
    [found] = judge([*sealed(sites=CLOSURES), *traces], design=design).document["breaks"]
    assert found["records"] == sorted(trace["id"] for trace in traces)


@pytest.mark.parametrize(
    ("at_m", "where"),
    [
        (500.0, ("0.00", "S1", "0.00")),
        (1509.99, ("1009.99", "S1", "999.99")),
        (1510.0, ("1010.00", "S2", "0.00")),
        (2015.0, ("1515.00", "S2", "500.00")),
        (5550.0, ("5050.00", "S5", "1000.00")),
        (489.0, ("-11.00", None, None)),
        (5570.0, ("5070.00", None, None)),
    ],
)
def test_an_event_on_no_joint_is_told_in_fibre_and_cable_metres(at_m: float, where: tuple[str, ...]) -> None:
    design = loose_tube_design()
    bend = {"distance_m": at_m, "kind": "non_reflective", "loss_db": 0.3}
    gone = dict.fromkeys(("A", "B", *CLOSURES))
    bare = with_events(make_otdr(design=design, losses_db=gone), dict, added=[bend])
    # Without any joint at its own distance the bend is on none, wherever it lies.
    design["splice_plan"] = [{"site": site, "fibres": {"first": 1, "last": 12}, "action": "uncut"} for site in CLOSURES]
    for end in (0, -1):
        design["sites"][end] |= {"kind": "terminal"}
    design["splice_plan"] += [
        {"site": site, "fibres": {"first": 1, "last": 12}, "action": "stored"} for site in ("A", "B")
    ]
    [event] = judge([*sealed(sites=CLOSURES), bare], design=design).document["unexpected_events"]
    assert (event["from_a_m"], event.get("section"), event.get("cable_m")) == where


def test_traces_that_fade_out_at_one_spot_tell_no_break() -> None:
    design = loose_tube_design()
    traces = [broken(trace, after_m=2525.0) for trace in both_ways(design=design)]
    faded = [with_events(trace, lambda event: None if event["kind"] == "end" else event) for trace in traces]
    # The last events are those at 2020 m from A and from B, 1010 m apart; without C2 and C3 nothing else is known.
    far = [
        with_events(trace, dict, added=[{"distance_m": at_m, "kind": "non_reflective", "loss_db": 0.3}])
        for trace, at_m in zip(faded, (3025.0, 2825.0), strict=True)
    ]
    document = judge([*sealed(sites=CLOSURES), *far], design=design).document
    assert "breaks" not in document
    assert "short_traces" not in document
