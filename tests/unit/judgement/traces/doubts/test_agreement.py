"""What one trace takes for a joint and another shows elsewhere is in doubt; one fibre alone moves no joint."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_design,
    make_sections,
    sealed,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.traces.doubts.agreement import Agreement, Sighting, find_doubts
from worker.judgement.traces.targets import Target

# Sites stand every 1000 m; the tolerance is 10 m, and the joints of a cable may be built 60 m off.


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


@pytest.mark.parametrize("away_m", [10.5, 30.0, -30.0, 50.0, 400.0])
def test_one_fibre_alone_moves_no_joint(away_m: float) -> None:
    # It may be the closure that was built elsewhere, or a good splice and a bend: one fibre cannot tell.
    judgement = judge_shifted({"C1": 0.04}, {1000.0: away_m})
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "ambiguous_event"


def test_one_direction_alone_moves_no_joint() -> None:
    forward, _ = shifted(both_ways(), away_m={1000.0: 30.0})
    _, blind = both_ways(losses_db={"C1": None})
    for traces in ([forward], [forward, blind]):
        judgement = judge([*sealed(), *traces])
        assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "undetermined"


def test_a_second_joint_that_could_be_meant_leaves_both_uncertain() -> None:
    design = make_design(sections=make_sections([1000.0, 60.0, 1940.0]))
    traces = both_ways(design=design, losses_db={"C1": None, "C2": None})
    records = [with_event_from_a(trace, 1030.0, loss_db=0.3) for trace in traces]
    judgement = judge([*sealed(), *records], design=design)
    for site in ("C1", "C2"):
        assert finding_of(judgement, "SPLICE-1550", site=site)["reason"] == "ambiguous_event"


def test_closures_that_all_lie_off_by_as_much_as_they_lie_apart_are_not_read_at_each_others_spots() -> None:
    # Both are built 28 m farther out, so that C1's splice shows exactly where C2 is designed.
    design = make_design(sections=make_sections([1000.0, 28.0, 1772.0]))
    traces = both_ways(design=design, losses_db={"C1": None, "C2": None})
    for at_m, loss_db in ((1028.0, 0.05), (1056.0, 0.60)):
        traces = [with_event_from_a(trace, at_m, loss_db=loss_db) for trace in traces]
    judgement = judge([*sealed(), *traces], design=design)
    for site in ("C1", "C2"):
        assert finding_of(judgement, "SPLICE-1550", site=site)["reason"] == "ambiguous_event"


def test_a_bend_beside_a_joint_that_is_seen_is_not_the_joint() -> None:
    records = [with_event_from_a(trace, 1030.0, loss_db=0.3) for trace in both_ways()]
    judgement = judge([*sealed(), *records])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0400"
    assert len(judgement.document["unexpected_events"]) == 2


def test_a_connection_at_an_end_is_never_moved() -> None:
    records = shifted(both_ways(losses_db={"A": 1.5}), away_m={0.0: 30.0})
    judgement = judge([*sealed(), *records])
    assert finding_of(judgement, "TERM-1550", site="A")["outcome"] == "undetermined"


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


def doubts(*, within: int = 10, is_group: bool = False, **spots: list[int]) -> Agreement:
    """Return what sightings by record leave in doubt of a place at 100; those that start with `a` look from A."""
    seen = [Sighting(at_um, name, name.startswith("a")) for name, own in spots.items() for at_um in own]
    return find_doubts(seen, [Target(100, 100, within, is_group)], same_spot_um=4)


def test_an_event_of_one_direction_nearer_than_one_of_both_leaves_a_joint_in_doubt() -> None:
    assert doubts(a1=[100, 109], b1=[109]).doubted == {0}
    assert doubts(a1=[100, 111], b1=[111]).doubted == frozenset()
    assert doubts(a1=[100, 109], b1=[100]).doubted == frozenset()


def test_what_lies_farther_off_than_the_cables_fibres_say_leaves_nothing_in_doubt() -> None:
    assert doubts(a1=[100, 109], b1=[109], within=9).doubted == {0}
    assert doubts(a1=[100, 109], b1=[109], within=8) == Agreement(frozenset(), {})


def test_two_events_of_one_trace_that_another_shows_between_settle_nothing() -> None:
    assert doubts(a1=[98, 102], b1=[100]).doubted == {0}


def test_of_two_events_within_reach_a_joint_is_sure_only_of_its_own() -> None:
    found = doubts(a1=[100, 108], b1=[100, 108], b2=[108])
    assert found.rivalled == {0: 100}
    assert doubts(a1=[100, 111], b1=[100, 111]).rivalled == {}


def test_several_events_of_one_group_are_no_doubt() -> None:
    assert doubts(a1=[98, 102], b1=[98, 102], is_group=True) == Agreement(frozenset(), {})
    assert doubts(a1=[98, 102], b1=[98, 102]).doubted == {0}
