"""Closures opened for some fibres, and splicing that says that they were open: which fibres are judged anew by it."""

from dataclasses import replace
from itertools import permutations
from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import (
    Body,
    finished_fibre,
    make_closure_state,
    make_criteria,
    make_design,
    make_splice,
    on_other_cable,
)
from tests.world import World

ENGINEER, CONTRACTOR = TokenKind.ENGINEER, TokenKind.CONTRACTOR
OPENED, SPLICED, RESEALED = (f"2025-03-{day}T08:00:00Z" for day in (22, 23, 24))
FOR_FIVE = [{"section": "S1", "first": 5, "last": 5}]
LATE: dict[str, Body] = {
    "opened": make_closure_state(state="opened", made_at=OPENED, opened_for=FOR_FIVE),
    "respliced": make_splice(fibres=[5], made_at=SPLICED, attempt=2),
    "resealed": make_closure_state(made_at=RESEALED),
}
ARRIVALS = [("opened", "respliced", "resealed"), ("resealed", "opened"), *permutations(["respliced", "resealed"])]


def agree(world: World, criteria: Body) -> None:
    path = f"/v1/projects/{world.project_id}/criteria"
    version = world.ask(ENGINEER, "POST", path, json=criteria)["version"]
    binding = f"/v1/routes/{world.route_id}/criteria"
    world.ask(ENGINEER, "PUT", binding, json={"version": version})
    world.ask(CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": version})


def at_c1(world: World, fibre: int) -> str:
    """Return what the splice of a fibre in C1 comes to, or why it is undetermined."""
    document: Any = world.ask(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/fibres/{fibre}")
    [finding] = [one for one in document["findings"] if one["criterion"] == "SPLICE-1550" and one.get("site") == "C1"]
    return str(finding.get("reason", finding["outcome"]))


@pytest.mark.parametrize("arrival", ARRIVALS, ids="-".join)
def test_an_opening_for_one_fibre_voids_its_tests_alone_in_whatever_order_it_is_heard_of(
    world: World, arrival: tuple[str, ...]
) -> None:
    agree(world, make_criteria(rework_voids="fibre"))
    world.record([record for fibre in (1, 5) for record in finished_fibre(fibre=fibre)])
    assert (at_c1(world, 1), at_c1(world, 5)) == ("conforming", "conforming")
    for name in arrival:
        world.record([LATE[name]])
    assert at_c1(world, 1) == "conforming"
    assert at_c1(world, 5) == ("before_rework" if "respliced" in arrival else "before_sealing")


@pytest.mark.parametrize("scope", ["tube", "closure"])
def test_where_more_was_agreed_every_fibre_that_it_reaches_is_judged_anew(world: World, scope: str) -> None:
    agree(world, make_criteria(rework_voids=scope))
    world.record([record for fibre in (1, 5) for record in finished_fibre(fibre=fibre)])
    world.record([LATE["opened"]])
    assert (at_c1(world, 1), at_c1(world, 5)) == ("closure_open", "closure_open")


def test_a_closure_sealed_again_without_an_opening_leaves_its_fibres_unproven_until_a_splice_explains_it(
    world: World,
) -> None:
    agree(world, make_criteria())
    world.record(finished_fibre(fibre=1))
    world.record([LATE["resealed"]])
    assert at_c1(world, 1) == "opening_not_recorded"
    world.record([LATE["respliced"]])
    assert at_c1(world, 1) == "conforming"
    withdrawn = {"records": [LATE["respliced"]["id"]], "reason": "of another closure"}
    world.ask(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=withdrawn)
    world.drain()
    assert at_c1(world, 1) == "opening_not_recorded"


@pytest.mark.parametrize("is_withdrawn_before", [True, False])
def test_a_withdrawn_splice_revives_older_tests_by_the_engineers_word_alone(
    world: World, is_withdrawn_before: bool
) -> None:
    agree(world, make_criteria())
    world.record(finished_fibre(fibre=5))
    world.record([LATE["respliced"]])
    form = {"records": [LATE["respliced"]["id"]], "reason": "typed in for another fibre"}
    path = f"/v1/routes/{world.route_id}/withdrawals"
    if is_withdrawn_before:
        assert world.ask(CONTRACTOR, "POST", path, json=form) == {"withdrawn": 1}
        world.drain()
        assert at_c1(world, 5) == "withdrawn_work"
    agreed = {**form, "reason": "the crew's sheet shows it"}
    assert world.ask(ENGINEER, "POST", path, json=agreed) == {"withdrawn": 1}
    assert world.ask(ENGINEER, "POST", path, json=agreed) == {"withdrawn": 0}
    world.drain()
    assert at_c1(world, 5) == "conforming"
    listed = world.ask(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/records?limit=500")["items"]
    [kept] = [one for one in listed if one["id"] == LATE["respliced"]["id"]]
    assert kept["is_ended"]
    assert kept["annulment_reason"] == agreed["reason"]
    assert kept["end_reason"] == (form if is_withdrawn_before else agreed)["reason"]


def beside(world: World) -> World:
    """Return the world of another route through the same closures, on cable of its own."""
    path = f"/v1/projects/{world.project_id}/routes"
    other = world.ask(CONTRACTOR, "POST", path, json=on_other_cable(make_design(), "R2"))["id"]
    return replace(world, route_id=other)


@pytest.mark.parametrize("is_described_before", [True, False])
def test_splicing_of_another_route_in_a_sealed_closure_opens_it_for_this_one(
    world: World, is_described_before: bool
) -> None:
    agree(world, make_criteria(rework_voids="closure"))
    other = beside(world) if is_described_before else None
    world.record(finished_fibre(fibre=5))
    assert at_c1(world, 5) == "conforming"
    before = world.status()["version"]
    other = beside(world) if other is None else other
    # Of a closure that nobody sealed there is nothing to say, and at a terminal there is no lid.
    elsewhere = [make_splice(site="A", fibres=[5], made_at=SPLICED), make_splice(made_at="2025-03-02T08:00:00Z")]
    other.record(elsewhere)
    assert (at_c1(world, 5), world.status()["version"]) == ("conforming", before)
    splice = make_splice(fibres=[7], made_at=SPLICED, attempt=3)
    other.record([splice])
    assert at_c1(world, 5) == "closure_open"
    # It stays the other route's: nobody may post it here, nor is it listed here.
    [answer] = world.post_records([splice])["results"]
    assert (answer["outcome"], answer["status"]) == ("conflict", 409)
    form = {"records": [splice["id"]], "reason": "typed in for another closure"}
    assert world.call(ENGINEER, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=form).status_code == 422
    path = f"/v1/routes/{other.route_id}/withdrawals"
    world.ask(CONTRACTOR, "POST", path, json=form)
    world.drain()
    assert at_c1(world, 5) == "withdrawn_work"
    world.ask(ENGINEER, "POST", path, json=form)
    world.drain()
    assert at_c1(world, 5) == "conforming"


def test_a_lid_heard_of_after_another_routes_splicing_is_known_to_have_been_off_for_it(world: World) -> None:
    agree(world, make_criteria(rework_voids="closure"))
    other = beside(world)
    other.record([make_splice(fibres=[7], made_at=SPLICED, attempt=3)])
    world.record(finished_fibre(fibre=5))
    assert at_c1(world, 5) == "closure_open"


def test_the_engineer_annuls_work_and_no_test(world: World) -> None:
    agree(world, make_criteria())
    records = finished_fibre(fibre=5)
    world.record(records)
    test = next(one for one in records if one["kind"] == "otdr")
    form = {"records": [records[0]["id"], test["id"]], "reason": "not mine to say"}
    answer = world.call(ENGINEER, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=form)
    assert (answer.status_code, [one["pointer"] for one in answer.json()["errors"]]) == (422, ["/records/1"])


def test_a_closure_is_opened_for_what_ends_or_lies_there(world: World) -> None:
    unknown = [{"section": "S3", "first": 1, "last": 1}, {"tray": 1}]
    [answer] = world.post_records([make_closure_state(state="opened", opened_for=unknown)])["results"]
    assert answer["status"] == 422
    assert [fault["pointer"] for fault in answer["problem"]["errors"]] == [
        "/opened_for/0/section",
        "/opened_for/1/tray",
    ]
