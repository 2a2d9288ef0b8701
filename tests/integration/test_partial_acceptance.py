"""Three segments built one after the other, each accepted and billed before the next exists, joined in the end."""

from collections.abc import Callable
from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import Body, make_attenuation, with_events
from tests.integration.partial_acts import (
    DESIGN,
    accept,
    as_far_as,
    at,
    awaited,
    criteria,
    extend,
    lid,
    notices,
    sealed,
    segment_of,
    spliced,
    standing,
    traces,
)
from tests.world import World, describe_route, open_project, propose_design, read_demo

WHOLE_LINK = "LINK-1550"


@pytest.fixture
def make_route(bare_world: World) -> Callable[[Body], World]:
    """Serve the API with a route by a design."""

    def make(design: Body) -> World:
        open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
        describe_route(bare_world, design=design, criteria=criteria())
        return bare_world

    return make


@pytest.fixture
def first_accepted(make_route: Callable[[Body], World]) -> World:
    """Return a route whose first segment is accepted, and whose second is spliced on to it."""
    world = make_route(DESIGN)
    prove_first(world)
    accept(world, "SEG1")
    world.record(spliced("SEG2"))
    return world


def prove_first(world: World) -> None:
    """Build the first segment and test it up to the bare fibre in the closure where it ends."""
    world.record([*spliced("SEG1"), *sealed("SEG1"), *traces("A", "C2", at("SEG1", 20))])


@pytest.mark.parametrize("is_designed", [True, False], ids=["designed and not built", "not designed yet"])
def test_three_segments_are_accepted_and_billed_one_after_the_other(
    make_route: Callable[[Body], World], is_designed: bool
) -> None:
    world = make_route(DESIGN if is_designed else as_far_as("SEG1"))
    prove_first(world)
    assert standing(world)["SEG1"] == "conforming"
    # What the first segment conforms without is said, and of whom it will be asked.
    later = {("SEG2", WHOLE_LINK), ("SEG3", WHOLE_LINK)}
    assert later <= awaited(world) if is_designed else awaited(world) == {(None, WHOLE_LINK)}
    package = accept(world, "SEG1")
    assert notices(world) == [("SEG1", 1, 4)]

    if not is_designed:
        extend(world, "SEG2")
    # The next segment conforms neither by itself nor by tests that end at the splices that join it.
    world.record([*spliced("SEG2"), *sealed("SEG2"), *traces("C2", "C4", at("SEG2", 20))])
    assert standing(world)["SEG2"] == "in_progress"
    # What is to be done at C4 and behind it is the third segment's.
    asked = [one for one in world.worklist() if {"A", "C1", "C2", "C3", "C4"}.issuperset(one["sites"])]
    assert {one["act"] for one in asked if one["sites"] != ["C4"]} == {"test"}
    world.record(traces("A", "C4", at("SEG2", 21)))
    assert (standing(world)["SEG1"], standing(world)["SEG2"]) == ("accepted", "conforming")
    accept(world, "SEG2")
    assert notices(world) == [("SEG1", 1, 4), ("SEG2", 1, 4)]

    if not is_designed:
        extend(world, "SEG3")
    assert awaited(world) == {("SEG3", WHOLE_LINK), ("SEG3", "OTDR-1550"), ("SEG3", "STRAY-1550")}
    world.record([*spliced("SEG3"), *sealed("SEG3")])
    # Now the link is joined, and the last segment conforms with all of it.
    assert awaited(world) == set()
    world.record(traces("A", "B", at("SEG3", 21)))
    assert standing(world) == {"SEG1": "accepted", "SEG2": "accepted", "SEG3": "in_progress"}
    world.record(meters())
    assert standing(world)["SEG3"] == "conforming"
    accept(world, "SEG3")
    assert notices(world) == [("SEG1", 1, 4), ("SEG2", 1, 4), ("SEG3", 1, 4)]
    assert set(standing(world).values()) == {"accepted"}
    # Each opening was for the next segment, and the first package is as it was when it was decided.
    openings = {
        one["id"]: [opened["is_planned"] for opened in one["opened_since"]] for one in world.status()["segments"]
    }
    assert openings == {"SEG1": [True], "SEG2": [True], "SEG3": []}
    again = world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{package['id']}")
    assert again["certified_sha256"] == package["certified_sha256"]


def meters() -> list[Body]:
    """Return the loss from end to end of each fibre both ways."""
    ends = (("A", "B"), ("B", "A"))
    return [
        make_attenuation(from_site=near, to_site=far, fibre=fibre, made_at=at("SEG3", 22))
        for fibre in (1, 2)
        for near, far in ends
    ]


def test_a_boundary_closure_left_unsealed_keeps_the_next_segment_from_conforming(first_accepted: World) -> None:
    world = first_accepted
    world.record([*sealed("SEG2", without=["C2"]), *traces("A", "C4", at("SEG2", 20))])
    assert (standing(world)["SEG1"], standing(world)["SEG2"]) == ("accepted", "in_progress")
    reasons = {
        (one["segment"], one["reason"]) for one in world.status()["missing"] if one["criterion"] == "SPLICE-1550"
    }
    assert ("SEG2", "closure_open") in reasons
    # The crew hears where, the contractor that it cannot submit; the first segment is told of as planned, and unpaid.
    built = {"A", "C1", "C2", "C3"}
    asked = [one for one in world.worklist() if built.issuperset(one["sites"]) and one["is_ready"]]
    assert {(one["act"], *one["sites"]) for one in asked} == {("seal", "C2")}
    assert world.submit(["SEG2"]).status_code == 422
    assert [one["is_planned"] for one in segment_of(world, "SEG1")["opened_since"]] == [True]
    assert notices(world) == [("SEG1", 1, 4)]
    # Sealed at last, it has to be tested after that.
    world.record([lid("C2", "sealed", at("SEG2", 22))])
    assert standing(world)["SEG2"] == "in_progress"
    world.record(traces("A", "C4", at("SEG2", 23)))
    assert standing(world)["SEG2"] == "conforming"


def broken(trace: Body, *, from_a_m: float) -> Body:
    """Return a trace of a fibre that is broken so far from A."""
    reach_m = from_a_m if trace["from_site"] == "A" else trace["length_m"] - from_a_m
    at_m = trace.get("launch_cord", {"length_m": 0.0})["length_m"] + reach_m

    def before(event: Body) -> Body | None:
        return event if event["distance_m"] < at_m else None

    return with_events(trace, before, added=[{"distance_m": round(at_m, 2), "kind": "end"}])


def test_a_fibre_of_the_accepted_segment_broken_while_opening_fails_the_next_one(first_accepted: World) -> None:
    world = first_accepted
    # Fibre 1 broke 50 m before C2, which is 2000 m from A, in the first segment's cable.
    there_and_back = traces("A", "C4", at("SEG2", 20))
    world.record(
        [*sealed("SEG2"), *(broken(one, from_a_m=1950.0) if one["fibre"] == 1 else one for one in there_and_back)]
    )
    accepted = segment_of(world, "SEG1")
    assert (accepted["status"], standing(world)["SEG2"]) == ("accepted", "in_progress")
    # The crew is told where, the contractor that it cannot submit, the engineer that the accepted one is not as it was.
    [item] = [one for one in world.worklist() if one["act"] == "locate_break"]
    assert (item["sites"], item["fibre"]) == (["C1"], 1)
    assert "950.00 m of cable into section S2" in item["because"]
    assert world.submit(["SEG2"]).status_code == 422
    assert accepted["has_changed_since"]
    assert accepted["counts"]["undetermined"] > 0
    assert notices(world) == [("SEG1", 1, 4)]
    # Who would submit the accepted segment again is refused: nothing is paid twice.
    assert world.submit(["SEG1"]).status_code == 409
    # Mended in C2, sealed and tested anew, the next segment is accepted, and the first one stands as it did.
    again = [lid("C2", "opened", at("SEG2", 22)), lid("C2", "sealed", at("SEG2", 24))]
    world.record([*again, *traces("A", "C4", at("SEG2", 25))])
    assert segment_of(world, "SEG1")["counts"]["undetermined"] == 0
    assert standing(world)["SEG2"] == "conforming"
    accept(world, "SEG2")
    assert notices(world) == [("SEG1", 1, 4), ("SEG2", 1, 4)]


def test_an_opening_that_nobody_planned_is_told_from_one_that_joins_the_next_segment(first_accepted: World) -> None:
    world = first_accepted
    world.record([lid("C1", "opened", at("SEG2", 5))])
    accepted = segment_of(world, "SEG1")
    openings = {one["site"]: one["is_planned"] for one in accepted["opened_since"]}
    assert openings == {"C2": True, "C1": False}
    assert (accepted["status"], accepted["has_changed_since"]) == ("accepted", True)
    assert accepted["counts"]["undetermined"] > 0
    assert notices(world) == [("SEG1", 1, 4)]


def test_a_boundary_opened_again_after_the_next_segment_was_accepted_is_no_plan(first_accepted: World) -> None:
    world = first_accepted
    world.record([*sealed("SEG2"), *traces("A", "C4", at("SEG2", 20))])
    accept(world, "SEG2")
    world.record([lid("C2", "opened", at("SEG3", 2))])
    for segment, planned in (("SEG1", [True, False]), ("SEG2", [False])):
        assert [one["is_planned"] for one in segment_of(world, segment)["opened_since"]] == planned
    assert segment_of(world, "SEG2")["counts"]["undetermined"] > 0


def test_joints_that_were_not_built_when_a_segment_was_accepted_go_to_the_one_that_makes_them(
    make_route: Callable[[Body], World],
) -> None:
    world = make_route(as_far_as("SEG1"))
    prove_first(world)
    accept(world, "SEG1")
    design: dict[str, Any] = as_far_as("SEG2")
    first, second = design["segments"]
    kept = [{**first, "sites": ["A", "C1", "C2"]}, {**second, "sites": ["C3", "C4"]}]
    path = f"/v1/routes/{world.route_id}/design"
    etag = world.call(TokenKind.CONTRACTOR, "GET", path).headers["ETag"]
    answer = world.call(
        TokenKind.CONTRACTOR, "PUT", path, json={**design, "segments": kept}, headers={"If-Match": etag}
    )
    assert answer.status_code == 422
    assert answer.json()["errors"] == [
        {
            "pointer": "/segments/0/sites",
            "detail": "C2 was not built when SEG1 was accepted: the segment that is joined there names it",
        }
    ]
    assert propose_design(world, design)["proposed_design_revision"] == 2
