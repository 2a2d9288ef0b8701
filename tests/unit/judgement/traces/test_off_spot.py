"""Traces of both directions that show a joint at one spot away from its design place it, and nothing else does."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_criteria,
    make_design,
    make_sections,
    sealed,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.traces.joint_location import Agreement, Margins, Sighting, locate_joints

# Sites stand every 1000 m; the tolerance is 10 m, and a joint may be built 50 m off its spot.


def shifted(traces: list[Body], *, away_m: dict[float, float]) -> list[Body]:
    """Return traces from A and from B in which the joint at a distance from A lies so far behind it, seen from A."""
    forward, backward = traces

    def behind(event: Body, *, is_forward: bool) -> Body:
        from_a_m = event["distance_m"] - 500.0 if is_forward else 3300.0 - event["distance_m"]
        away = 0.0 if event["kind"] == "end" else away_m.get(from_a_m, 0.0)
        return {**event, "distance_m": event["distance_m"] + (away if is_forward else -away)}

    return [
        with_events(forward, lambda event: behind(event, is_forward=True)),
        with_events(backward, lambda event: behind(event, is_forward=False)),
    ]


def judge_shifted(losses_db: dict[str, float | None], away_m: dict[float, float], **changes: Any) -> Any:
    """Judge traces in which joints lie off their spots."""
    return judge([*sealed(), *shifted(both_ways(losses_db=losses_db), away_m=away_m)], **changes)


@pytest.mark.parametrize("away_m", [10.5, 30.0, -30.0, 50.0])
@pytest.mark.parametrize(("loss_db", "outcome"), [(0.1, "conforming"), (0.101, "nonconforming")])
def test_a_joint_built_away_from_its_design_is_judged_by_what_both_directions_show(
    away_m: float, loss_db: float, outcome: str
) -> None:
    judgement = judge_shifted({"C1": loss_db}, {1000.0: away_m})
    finding = finding_of(judgement, "SPLICE-1550", site="C1")
    assert (finding["outcome"], finding["value"]) == (outcome, f"{loss_db:.4f}")
    [moved] = judgement.document["off_spot"]
    assert (moved["site"], moved["designed_m"], moved["from_a_m"]) == ("C1", "1000.00", f"{1000.0 + away_m:.2f}")
    assert len(moved["records"]) == 2
    assert judgement.document["unexpected_events"] == []


@pytest.mark.parametrize("away_m", [50.5, -60.0, 400.0])
def test_a_joint_farther_away_than_agreed_stays_uncertain(away_m: float) -> None:
    judgement = judge_shifted({"C1": 0.04}, {1000.0: away_m})
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "ambiguous_event"
    assert "off_spot" not in judgement.document


def test_how_far_a_joint_may_be_built_away_is_agreed() -> None:
    criteria = make_criteria(placing={"off_spot_m": 20.0})
    assert "off_spot" in judge_shifted({}, {1000.0: 20.0}, criteria=criteria).document
    assert "off_spot" not in judge_shifted({}, {1000.0: 20.5}, criteria=criteria).document


def test_one_direction_alone_moves_no_joint() -> None:
    forward, _ = shifted(both_ways(), away_m={1000.0: 30.0})
    _, blind = both_ways(losses_db={"C1": None})
    for traces in ([forward], [forward, blind]):
        judgement = judge([*sealed(), *traces])
        assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "undetermined"
        assert "off_spot" not in judgement.document


def test_directions_that_show_it_at_two_spots_move_no_joint() -> None:
    forward, _ = shifted(both_ways(), away_m={1000.0: 30.0})
    _, backward = shifted(both_ways(), away_m={1000.0: -30.0})
    judgement = judge([*sealed(), forward, backward])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "ambiguous_event"


def test_a_second_spot_that_could_be_the_joint_leaves_it_uncertain() -> None:
    forward, backward = shifted(both_ways(), away_m={1000.0: 30.0})
    bend = {"distance_m": 1475.0, "kind": "non_reflective", "loss_db": 0.3}
    judgement = judge([*sealed(), with_events(forward, dict, added=[bend]), backward])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "ambiguous_event"


def test_a_second_joint_that_could_be_meant_leaves_both_uncertain() -> None:
    design = make_design(sections=make_sections([1000.0, 60.0, 1940.0]))
    traces = both_ways(design=design, losses_db={"C1": None, "C2": None})
    records = [with_event_from_a(trace, 1030.0, loss_db=0.3) for trace in traces]
    judgement = judge([*sealed(), *records], design=design)
    for site in ("C1", "C2"):
        assert finding_of(judgement, "SPLICE-1550", site=site)["reason"] == "ambiguous_event"


def test_a_joint_at_the_edge_of_the_tolerance_is_the_same_in_every_trace() -> None:
    forward, _ = shifted(both_ways(losses_db={"C1": 0.2}), away_m={1000.0: 9.0})
    _, backward = shifted(both_ways(losses_db={"C1": 0.2}), away_m={1000.0: 11.0})
    finding = finding_of(judge([*sealed(), forward, backward]), "SPLICE-1550", site="C1")
    assert finding["value"] == "0.2000"


def test_a_bend_beside_a_joint_that_is_seen_is_not_the_joint() -> None:
    records = [with_event_from_a(trace, 1030.0, loss_db=0.3) for trace in both_ways()]
    judgement = judge([*sealed(), *records])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0400"
    assert len(judgement.document["unexpected_events"]) == 2


def test_a_connection_at_an_end_is_never_moved() -> None:
    records = shifted(both_ways(losses_db={"A": 1.5}), away_m={0.0: 30.0})
    judgement = judge([*sealed(), *records])
    assert finding_of(judgement, "TERM-1550", site="A")["outcome"] == "undetermined"


def sightings(**spots: list[int]) -> list[Sighting]:
    """Return sightings by record; those whose name starts with `a` look from A."""
    return [Sighting(at_um, name, name.startswith("a")) for name, own in spots.items() for at_um in own]


MARGINS = Margins(tolerance_um=10, same_spot_um=4, off_spot_um=30)


def agree_on(places: list[int], seen: list[Sighting], *, is_movable: bool = True, is_group: bool = False) -> Agreement:
    """Return what sightings agree on, about places that may all move, or not, and are all groups, or none."""
    count = len(places)
    return locate_joints(seen, places, movable=[is_movable] * count, is_group=[is_group] * count, margins=MARGINS)


def spots(places: list[int], seen: list[Sighting], *, is_movable: bool = True) -> dict[int, int]:
    """Return the spot of each place that has one."""
    found = agree_on(places, seen, is_movable=is_movable).spots
    return {place: spot.from_a_um for place, spot in found.items()}


def test_one_event_between_two_joints_belongs_to_the_one_that_other_traces_show_there() -> None:
    assert spots([100, 108], sightings(a1=[103, 111], b1=[103, 112])) == {0: 103, 1: 111}
    assert spots([100, 108], sightings(a1=[104], b1=[104])) == {}


def test_events_near_one_joint_at_two_spots_settle_nothing() -> None:
    assert spots([100], sightings(a1=[98, 103], b1=[103])) == {}


def test_a_joint_that_may_not_move_keeps_its_designed_spot() -> None:
    seen = sightings(a1=[105], b1=[105])
    assert spots([100], seen, is_movable=False) == {}
    assert spots([100], seen) == {0: 105}


def test_an_event_of_one_direction_nearer_than_one_of_both_leaves_a_joint_in_doubt() -> None:
    assert agree_on([100], sightings(a1=[100, 109], b1=[109])).doubted == {0}
    assert agree_on([100], sightings(a1=[100, 111], b1=[111])).doubted == frozenset()
    assert agree_on([100], sightings(a1=[100, 109], b1=[100])).doubted == frozenset()


def test_two_events_of_one_trace_that_another_shows_between_settle_nothing() -> None:
    found = agree_on([100], sightings(a1=[98, 102], b1=[100]))
    assert not found.spots
    assert found.doubted == {0}


def test_of_two_spots_within_reach_a_joint_is_sure_only_in_the_records_that_show_its_own() -> None:
    found = agree_on([100], sightings(a1=[100, 108], b1=[100, 108], b2=[108]))
    assert found.rivalled == {0: {"a1", "b1"}}
    assert found.doubted_by("b2", [0]) == {0}
    assert found.doubted_by("b2", []) == found.doubted_by("b1", [0]) == frozenset()
    assert agree_on([100], sightings(a1=[100, 111], b1=[100, 111])).rivalled == {}


def test_several_events_of_one_group_are_no_doubt() -> None:
    seen = sightings(a1=[98, 102], b1=[98, 102])
    assert agree_on([100], seen, is_group=True) == Agreement({}, frozenset(), {})
    assert agree_on([100], seen).doubted == {0}


def test_a_pigtails_splice_seen_beside_its_connection_is_no_doubt_where_a_bend_makes_the_trace_unclear() -> None:
    forward, backward = both_ways()
    splice = {"kind": "non_reflective", "loss_db": 0.05}
    bend = {"distance_m": 1900.0, "kind": "non_reflective", "loss_db": 0.3}
    records = [
        with_events(forward, dict, added=[{"distance_m": 503.0, **splice}, bend]),
        with_events(backward, dict, added=[{"distance_m": 3297.0, **splice}]),
    ]
    assert finding_of(judge([*sealed(), *records]), "TERM-1550", site="A")["value"] == "0.3500"


def test_a_bad_joint_is_not_proven_good_by_a_nearer_event_that_one_direction_shows() -> None:
    forward, backward = shifted(both_ways(losses_db={"C1": 0.5}), away_m={1000.0: 9.0})
    gain = {"distance_m": 1500.0, "kind": "non_reflective", "loss_db": -0.5}
    judgement = judge([*sealed(), with_events(forward, dict, added=[gain]), backward])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "ambiguous_event"
