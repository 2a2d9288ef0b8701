"""Acts on the fibre itself played through: bends relieved, breaks located, crossings undone."""

from typing import Any

import pytest

from service.vocabulary.findings.words import Act
from tests.factories import (
    Body,
    bend_criterion,
    both_ways,
    coefficient_criterion,
    continuity_criterion,
    make_continuity,
    make_splice,
    splice_criterion,
    stray_criterion,
    with_event_from_a,
    with_events,
    with_id,
)
from tests.unit.judgement.judging import because, records_behind, where
from tests.unit.judgement.story import RETESTED, REWORKED, Story, finished, opened_and_sealed

BEND_M = 1400.0
IDENTITY = continuity_criterion()


@pytest.mark.parametrize("criterion", [stray_criterion(), bend_criterion()], ids=lambda one: one["quantity"])
def test_a_bend_is_relieved_where_the_traces_show_it(criterion: Body) -> None:
    story = Story(criterion).add(*finished(*both_ways(wavelength_nm=1310), *bent(0.4)))
    [item] = story.asked(Act.RELIEVE_BEND)
    assert where(item) == "C1"
    assert because(item).startswith("1400.00 m from A, where no joint is, 400.00 m of cable into section S2: ")
    assert story.add(*both_ways(made_at=RETESTED), *both_ways(wavelength_nm=1310, made_at=RETESTED)).work == []


def test_a_bend_in_a_closure_is_relieved_there() -> None:
    story = Story(bend_criterion()).add(*finished(*both_ways(wavelength_nm=1310), *both_ways(losses_db={"C2": 0.5})))
    [item] = story.asked(Act.RELIEVE_BEND)
    assert (where(item), item["position"]) == ("C2", 1)
    assert {item["act"] for item in story.add(*opened_and_sealed("C2")).work} == {"retest"}
    assert story.add(*both_ways(made_at=RETESTED), *both_ways(wavelength_nm=1310, made_at=RETESTED)).work == []


def test_too_much_loss_of_the_cable_is_looked_for_along_its_section() -> None:
    story = Story(coefficient_criterion()).add(*finished(*losing(0.4)))
    assert [(item["act"], where(item)) for item in story.work] == [("relieve_bend", site) for site in ("A", "C1", "C2")]
    assert story.add(*losing(0.2, made_at=RETESTED)).work == []


def losing(db_per_km: float, **changes: Any) -> list[Body]:
    """Return traces that state so much of every section."""
    return [
        with_events(trace, lambda event: {**event, "attenuation_db_per_km": db_per_km})
        for trace in both_ways(**changes)
    ]


def test_crossed_fibres_are_both_named_with_their_tubes_and_colours() -> None:
    story = Story(IDENTITY).add(*finished(make_continuity(seen=3)))
    [item] = story.asked(Act.FIBRES_CROSSED)
    assert where(item) == "B"
    assert because(item) == (
        "Fibre 1 (section S1, tube 1 blue, fibre 1 blue) was lit at A and "
        "fibre 3 (section S3, tube 1 blue, fibre 3 green) seen at B: look at the ports of both ends first, then in the "
        "closures between them, and splice both as planned; or the engineer approves an as-built revision."
    )
    story.add(make_splice(attempt=2, made_at=REWORKED), *opened_and_sealed("C1"))
    assert story.asked(Act.FIBRES_CROSSED) == []
    assert story.add(make_continuity(made_at=RETESTED)).work == []


def test_the_fibre_that_was_seen_is_told_too_and_of_what_came_out_right_nothing_is_said() -> None:
    right, wrong = make_continuity(), make_continuity(fibre=2, seen=1, from_site="B", to_site="A")
    [item] = Story(IDENTITY).add(*finished(right, {**wrong, "made_at": RETESTED})).asked(Act.FIBRES_CROSSED)
    assert where(item) == "A"
    assert because(item).count("was lit at") == 1


def test_a_dark_fibre_is_searched_for_its_break_until_it_shines() -> None:
    story = Story(IDENTITY).add(*finished(make_continuity(seen=None)))
    [item] = story.asked(Act.LOCATE_BREAK)
    assert because(item).startswith("Fibre 1 lit at A, all dark at B: take traces from both ends")
    assert story.add(make_continuity(made_at=RETESTED)).work == []


def test_a_break_is_located_by_its_distance_and_gone_once_spliced() -> None:
    story = Story(splice_criterion(), IDENTITY).add(*finished(make_continuity(seen=None), *broken(1600.0)))
    [item] = story.asked(Act.LOCATE_BREAK)
    assert where(item) == "C1"
    assert "1600.00 m of fibre from A, 600.00 m of cable into section S2" in because(item)
    assert len(records_behind(item)) == 2
    story.add(make_splice(attempt=2, made_at=REWORKED), *opened_and_sealed("C1"))
    assert story.asked(Act.LOCATE_BREAK) == []
    story.add(make_continuity(made_at=RETESTED), *both_ways(made_at=RETESTED))
    assert {item["act"] for item in story.work} == {"ask_engineer"}


def bent(loss_db: float, **changes: Any) -> list[Body]:
    """Return traces that show a loss on no joint, 1400 m from A."""
    return [with_event_from_a(trace, BEND_M, loss_db=loss_db) for trace in both_ways(**changes)]


def broken(after_m: float) -> list[Body]:
    """Return traces that stop at one spot, so far from A."""
    traces = []
    for trace in both_ways():
        reached_m = after_m if trace["from_site"] == "A" else 3000.0 - after_m
        end_m = trace["launch_cord"]["length_m"] + reached_m
        kept = [event for event in trace["events"] if event["distance_m"] < end_m]
        body = {name: value for name, value in trace.items() if name not in {"id", "receive_cord"}}
        traces.append(with_id({**body, "events": [*kept, {"distance_m": end_m, "kind": "end"}], "length_m": reached_m}))
    return traces
