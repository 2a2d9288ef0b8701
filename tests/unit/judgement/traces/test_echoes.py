"""An echo is listed with the reflections it comes from; it is no joint, contests none, and hides none.

That echoes lie at sums, differences and multiples of stronger reflections' distances is common practice, no source; the
distances expected here are such sums, worked out by hand.
"""

from typing import Any

import pytest

from tests.factories import Body, both_ways, make_design, make_otdr, make_sections, sealed, with_events
from tests.unit.judgement.judging import finding_of, judge, splice_at_c1
from worker.judgement.judge import FibreJudgement

# From A: the connections at 500 and 3500 m, C1 at 1500 and C2 at 2500 m, the open end of the cord at 3800 m.


def make_echo(distance_m: float, **changes: Any) -> Body:
    """Return a reflection without a loss."""
    return {"distance_m": distance_m, "kind": "reflective", "loss_db": 0.0, "reflectance_db": -70.0, **changes}


def judge_with(*added: Body, design: Body | None = None, losses_db: dict[str, float | None] | None = None) -> Any:
    """Judge traces of both directions, the one from A with more events."""
    forward, backward = both_ways(design=design, losses_db=losses_db)
    return judge([*sealed(), with_events(forward, dict, added=added), backward], design=design)


def echoes_of(judgement: FibreJudgement) -> list[tuple[str, list[str]]]:
    """Return where each echo lies and what its light met."""
    return [(echo["distance_m"], echo["met_m"]) for echo in judgement.document.get("echoes", [])]


@pytest.mark.parametrize(
    ("distance_m", "met_m"),
    [
        (1000.0, ["500.00", "0.00", "500.00"]),
        (2000.0, ["500.00", "0.00", "500.00", "0.00", "500.00", "0.00", "500.00"]),
        (4000.0, ["500.00", "0.00", "3500.00"]),
        (4100.0, ["3800.00", "3500.00", "3800.00"]),
    ],
)
def test_an_echo_is_listed_with_the_reflections_that_its_light_met(distance_m: float, met_m: list[str]) -> None:
    judgement = judge_with(make_echo(distance_m))
    assert echoes_of(judgement) == [(f"{distance_m:.2f}", met_m)]
    terms = [float(met) for met in met_m]
    assert sum(terms[::2]) - sum(terms[1::2]) == distance_m
    assert judgement.document["unexpected_events"] == []
    assert judgement.counts == judge_with().counts


@pytest.mark.parametrize(("distance_m", "is_echo"), [(990.0, True), (1010.0, True), (989.99, False), (1010.01, False)])
def test_an_echo_lies_where_its_reflections_put_it_within_the_tolerance(distance_m: float, is_echo: bool) -> None:
    judgement = judge_with(make_echo(distance_m))
    assert bool(echoes_of(judgement)) is is_echo
    assert len(judgement.document["unexpected_events"]) == (not is_echo)


@pytest.mark.parametrize(
    "changes",
    [
        {"loss_db": 0.021},
        {"loss_db": -0.021},
        {"kind": "non_reflective"},
        {"kind": "saturated"},
        {"reflectance_db": -40.0},
        {"reflectance_qualifier": "gt"},
    ],
    ids=str,
)
def test_what_shows_a_loss_or_reflects_more_than_its_sources_is_no_echo(changes: Body) -> None:
    def reflecting(event: Body) -> Body:
        return {**event, "reflectance_db": -45.0} if event["kind"] == "reflective" else event

    forward, backward = both_ways()
    added = make_echo(1000.0, **changes)
    judgement = judge([*sealed(), with_events(with_events(forward, reflecting), dict, added=[added]), backward])
    assert echoes_of(judgement) == []
    assert len(judgement.document["unexpected_events"]) == 1


def test_away_from_all_joints_an_echo_need_not_say_that_it_loses_nothing() -> None:
    judgement = judge_with(make_echo(1000.0, loss_db=None))
    assert len(echoes_of(judgement)) == 1
    assert judgement.document["unexpected_events"] == []


def test_near_a_joint_a_reflection_that_states_no_loss_may_be_the_joint() -> None:
    judgement = judge_with(make_echo(1000.0, loss_db=None), design=half_way_design(), losses_db={"C1": None})
    assert echoes_of(judgement) == []
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "loss_not_stated"


def test_many_echoes_are_no_misfit() -> None:
    added = [make_echo(distance_m) for distance_m in (1000.0, 2000.0, 4000.0, 4100.0, 4300.0, 6500.0, 7000.0)]
    judgement = judge_with(*added, losses_db={"C1": None})
    assert len(echoes_of(judgement)) == len(added)
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "conforming"
    assert finding_of(judgement, "OTDR-1550")["outcome"] == "conforming"


def half_way_design() -> Body:
    """Return a route whose first closure stands where the launch cord's echo falls, 500 m from A."""
    return make_design(sections=make_sections([500.0, 1500.0, 1000.0]))


@pytest.mark.parametrize("away_m", [-9.0, -3.0, 0.0, 3.0])
def test_an_echo_beside_a_joint_does_not_contest_it(away_m: float) -> None:
    finding = finding_of(
        judge_with(make_echo(1000.0 + away_m), design=half_way_design(), losses_db={"C1": 0.3}),
        "SPLICE-1550",
        site="C1",
    )
    assert (finding["outcome"], finding["value"]) == ("nonconforming", "0.3000")


def test_an_echo_on_an_unseen_splice_is_not_read_as_its_loss() -> None:
    judgement = judge_with(make_echo(1000.0, loss_db=0.01), design=half_way_design(), losses_db={"C1": None})
    finding = finding_of(judgement, "SPLICE-1550", site="C1")
    assert (finding["low"], finding["high"]) == ("-0.0200", "0.0200")
    assert len(echoes_of(judgement)) == 1


def test_a_reflection_seen_from_both_ends_is_no_echo() -> None:
    design = half_way_design()
    forward, backward = both_ways(design=design, losses_db={"C1": None})
    forward = with_events(forward, dict, added=[make_echo(1000.0, loss_db=0.01)])
    backward = with_events(backward, dict, added=[make_echo(2800.0, loss_db=0.01)])
    judgement = judge([*sealed(), forward, backward], design=design)
    assert echoes_of(judgement) == []
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0100"


def test_a_pair_that_stands_where_an_echo_would_keeps_its_event() -> None:
    design = half_way_design()
    design["sites"][1] |= {"kind": "patch_panel", "termination": "factory_cord"}
    forward, backward = both_ways(design=design, losses_db={"C1": 0.01})
    one_sided = with_events(backward, lambda event: None if event["distance_m"] == 2800.0 else event)
    judgement = judge([*sealed(sites=["C2"]), forward, one_sided], design=design)
    assert echoes_of(judgement) == []
    finding = finding_of(judgement, "TERM-1550", site="C1")
    assert (finding["reason"], len(finding["readings"])) == ("pair_not_seen", 1)
    whole = judge([*sealed(sites=["C2"]), forward, backward], design=design)
    assert finding_of(whole, "TERM-1550", site="C1")["value"] == "0.0100"


def test_beside_a_pair_whose_reflection_is_cut_off_an_echo_is_one_whatever_the_pair_loses() -> None:
    design = half_way_design()
    design["sites"][1] |= {"kind": "patch_panel", "termination": "factory_cord"}
    forward = make_otdr(design=design, losses_db={"C1": 0.01})
    cut_off = with_events(
        forward,
        lambda event: {**event, "kind": "saturated"} if event["distance_m"] == 1000.0 else event,
        added=[make_echo(1003.0)],
    )
    [(distance_m, _)] = echoes_of(judge([*sealed(sites=["C2"]), cut_off], design=design))
    assert distance_m == "1003.00"


def test_an_echo_in_one_trace_alone_is_still_an_echo() -> None:
    judgement = judge([*sealed(), with_events(make_otdr(), dict, added=[make_echo(1000.0)])])
    assert len(echoes_of(judgement)) == 1


def test_without_echoes_none_are_spoken_of() -> None:
    assert splice_at_c1([*sealed(), *both_ways()])["outcome"] == "conforming"
    assert "echoes" not in judge([*sealed(), *both_ways()]).document
