"""What the readings of one joint come to together, and losses that lie on no joint."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_criteria,
    make_otdr,
    only,
    sealed,
    splice_criterion,
    termination_criterion,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import finding_of, judge, splice_at_c1

LATER = "2025-06-21T08:00:00Z"


def at_c1(loss_db: float | None, **changes: Any) -> list[Body]:
    """Return both directions of one pulse with what they read at C1."""
    return both_ways(losses_db={"C1": loss_db}, **changes)


def test_where_they_agree_the_pulse_that_sees_the_loss_is_used() -> None:
    short = at_c1(None, pulse_ns=5, loss_threshold_db=0.05)
    finding = splice_at_c1([*sealed(), *short, *at_c1(0.09, pulse_ns=100)])
    assert (finding["outcome"], finding["value"], len(finding["readings"])) == ("conforming", "0.0900", 2)


def test_unseen_by_several_pulses_is_known_as_closely_as_the_best_of_them_knows() -> None:
    short = at_c1(None, pulse_ns=5, loss_threshold_db=0.05)
    finding = splice_at_c1([*sealed(), *short, *at_c1(None, pulse_ns=100)])
    assert (finding["low"], finding["high"]) == ("-0.0200", "0.0200")


def test_of_two_pulses_that_show_a_joint_the_less_noisy_one_decides_where_both_say_how_noisy_they_are() -> None:
    short = at_c1(0.05, pulse_ns=10, dynamic_range={"range_db": 12.0, "pulse_ns": 10, "averaging_s": 30.0})
    long = at_c1(0.07, pulse_ns=100, dynamic_range={"range_db": 35.0, "pulse_ns": 100, "averaging_s": 30.0})
    assert splice_at_c1([*sealed(), *short, *long])["value"] == "0.0700"
    assert splice_at_c1([*sealed(), *at_c1(0.05, pulse_ns=10), *at_c1(0.07, pulse_ns=100)])["value"] == "0.0500"


# Both thresholds are 0.02 dB.
@pytest.mark.parametrize(
    ("later_db", "reason"), [(0.08, None), (0.081, "readings_disagree"), (0.9, "readings_disagree")]
)
def test_readings_apart_by_more_than_their_thresholds_are_named_and_prove_nothing(
    later_db: float, reason: str | None
) -> None:
    later = at_c1(later_db, made_at=LATER, pulse_ns=30)
    finding = splice_at_c1([*sealed(), *at_c1(0.04, pulse_ns=10), *later])
    assert finding.get("reason") == reason
    assert {reading["record"] for reading in finding["readings"]} >= ({own["id"] for own in later} if reason else set())


def test_a_part_of_the_route_measured_by_itself_can_contradict_the_whole() -> None:
    part = make_otdr(to_site="C2", losses_db={"C1": 0.5}, made_at=LATER)
    assert splice_at_c1([*sealed(), *both_ways(), part])["reason"] == "readings_disagree"


def test_a_doubt_about_the_event_outweighs_a_shorter_pulse_that_sees_nothing() -> None:
    long = [with_events(trace, _moved_by_60_m) for trace in at_c1(0.5, pulse_ns=100)]
    assert splice_at_c1([*sealed(), *at_c1(None, pulse_ns=5), *long])["reason"] == "ambiguous_event"
    assert splice_at_c1([*sealed(), *at_c1(0.04, pulse_ns=5), *long])["value"] == "0.0400"


def _moved_by_60_m(event: Body) -> Body:
    away_m = {1500.0: 60.0, 2300.0: -60.0}.get(event["distance_m"], 0.0)
    return {**event, "distance_m": event["distance_m"] + away_m}


# From A the joint stands at 1500 m, from B at 2300 m; the next one is a kilometre away. What both directions show
# within 50 m of it is the joint itself.
@pytest.mark.parametrize("away_m", [50.5, 60.0, 499.0])
@pytest.mark.parametrize("loss_db", [0.5, -0.3, None])
def test_a_joint_built_elsewhere_is_not_an_unseen_one(away_m: float, loss_db: float | None) -> None:
    stray: Body = {} if loss_db is None else {"loss_db": loss_db}
    traces = [with_event_from_a(trace, 1000.0 + away_m, **stray) for trace in at_c1(None)]
    judgement = judge([*sealed(), *traces])
    finding = finding_of(judgement, "SPLICE-1550", site="C1")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "ambiguous_event")
    assert finding_of(judgement, "SPLICE-1550", site="C2")["outcome"] == "conforming"
    assert len(judgement.document["unexpected_events"]) == 2


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.02, "conforming"), (0.021, "undetermined")])
def test_an_echo_without_a_loss_is_nobodys_joint(loss_db: float, outcome: str) -> None:
    forward, backward = at_c1(None)
    echo = {"distance_m": 1530.0, "kind": "reflective", "loss_db": loss_db}
    assert splice_at_c1([*sealed(), with_events(forward, dict, added=[echo]), backward])["outcome"] == outcome


def test_a_loss_nearest_to_a_joint_that_is_seen_leaves_the_others_alone() -> None:
    forward, backward = both_ways(losses_db={"C2": None})
    judgement = judge([*sealed(), with_event_from_a(forward, 1400.0, loss_db=0.3), backward])
    assert finding_of(judgement, "SPLICE-1550", site="C2")["outcome"] == "conforming"


@pytest.mark.parametrize(
    ("backward_db", "reason"), [(-0.08, None), (-0.082, "below_zero"), (-3.0, "below_zero")], ids=str
)
def test_a_mean_farther_below_zero_than_noise_takes_it_proves_nothing(backward_db: float, reason: str | None) -> None:
    traces = [make_otdr(losses_db={"C1": 0.0}), make_otdr(from_site="B", to_site="A", losses_db={"C1": backward_db})]
    finding = splice_at_c1([*sealed(), *traces])
    assert finding.get("reason") == reason
    assert len(finding["readings"]) == 2


def test_how_far_below_zero_a_mean_may_lie_is_agreed() -> None:
    criteria = make_criteria(mean_below_zero_db=0.1)
    assert splice_at_c1([*sealed(), *at_c1(-0.1)], criteria=criteria)["outcome"] == "conforming"
    assert splice_at_c1([*sealed(), *at_c1(-0.101)], criteria=criteria)["reason"] == "below_zero"


def test_a_group_below_zero_proves_none_of_its_joints() -> None:
    traces = [make_otdr(losses_db={"A": -0.5}), make_otdr(from_site="B", to_site="A", losses_db={"A": 0.4})]
    judgement = judge([*sealed(), *traces])
    assert finding_of(judgement, "SPLICE-1550", site="A")["reason"] == "below_zero"
    assert finding_of(judgement, "TERM-1550", site="A")["reason"] == "below_zero"


def test_an_advisory_limit_alone_decides_for_no_splice() -> None:
    criteria = only(splice_criterion(), termination_criterion(force="advisory"))
    finding = finding_of(judge([*sealed(), *both_ways()], criteria=criteria), "SPLICE-1550", site="A")
    assert finding["reason"] == "group_only"
