"""A cable that two routes pass: each has fibres of its own in it, held apart by the service and by the database."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Barrier
from typing import Any
from uuid import UUID

import httpx
import orjson
import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from service.actions.access.audit import verify_chain
from service.storage.session import snapshot, transaction
from service.vocabulary.words import TokenKind
from tests.factories import (
    Body,
    make_cable_laying,
    make_design,
    make_section,
    make_site,
    make_terminal,
    on_other_cable,
)
from tests.integration.api.acts import decide
from tests.integration.faults.acts import finished_route
from tests.world import World

CONTRACTOR, ENGINEER = TokenKind.CONTRACTOR, TokenKind.ENGINEER


def branch(first: int, *, code: str = "R2", **changes: Any) -> Body:
    """Return a route that passes the first cable of the usual one behind its fibres, then cable of its own."""
    shared = make_section("S1", first_cable_fibre=first, **changes)
    own = [make_section(f"{code}.{n}", first_cable_fibre=1) for n in (2, 3)]
    sites = [make_terminal("A"), make_site("C1"), make_site(f"{code}.C"), make_terminal(f"{code}.B")]
    return make_design(code=code, sites=sites, sections=[shared, *own])


def describe(world: World, design: Body) -> httpx.Response:
    return world.call(CONTRACTOR, "POST", f"/v1/projects/{world.project_id}/routes", json=design)


def revise(world: World, route_id: str, design: Body) -> httpx.Response:
    return world.call(CONTRACTOR, "PUT", f"/v1/routes/{route_id}/design", json=design, headers={"If-Match": "*"})


def faults_of(answer: httpx.Response) -> list[tuple[str, str]]:
    assert answer.status_code == 422, answer.text
    return [(fault["pointer"], fault["detail"]) for fault in answer.json()["errors"]]


def held(world: World) -> list[tuple[str, str, int, int]]:
    """Return what is held, as route, section and range."""
    statement = text(
        "SELECT code, section_id, first_fibre, last_fibre FROM route_section JOIN route ON id = route_id"
        " WHERE is_held ORDER BY section_id, first_fibre"
    )
    with transaction(world.engine) as session:
        return [tuple(row) for row in session.execute(statement)]


def test_a_cable_fibre_that_another_route_holds_is_refused_with_its_route(world: World) -> None:
    taken = [("/sections/0/first_cable_fibre", "cable fibre 12 is route R1's")]
    assert faults_of(describe(world, branch(12))) == taken
    assert describe(world, branch(13)).status_code == 201
    assert [row for row in held(world) if row[1] == "S1"] == [("R1", "S1", 1, 12), ("R2", "S1", 13, 24)]


def test_what_another_route_says_of_the_cable_is_not_contradicted(world: World) -> None:
    said = [("/sections/0/cable_length_m", "is 1000.00 on route R1, which passes this cable too")]
    assert faults_of(describe(world, branch(13, cable_length_m=1200.0))) == said


def measured(design: Body, length_m: float = 1200.0, **changes: Any) -> Body:
    """Return a route whose first cable turned out longer."""
    first, *others = design["sections"]
    return {**design, "sections": [{**first, "cable_length_m": length_m, **changes}, *others]}


def agree(world: World, route_id: str, revision: int) -> httpx.Response:
    return world.call(ENGINEER, "PUT", f"/v1/routes/{route_id}/design/agreement", json={"revision": revision})


def agreed_branch(world: World) -> str:
    """Describe the route beside the usual one, its design agreed to."""
    route_id = describe(world, branch(13)).json()["id"]
    assert agree(world, route_id, 1).is_success
    return str(route_id)


def first_cable(world: World, route_id: str) -> tuple[int, Any]:
    """Return the number of a route's design and what it says of its first cable's length."""
    found = world.ask(CONTRACTOR, "GET", f"/v1/routes/{route_id}/design")
    assert found["agreed_revision"] == found["revision"]
    return found["revision"], found["design"]["sections"][0]["cable_length_m"]


def test_what_one_route_corrects_of_a_cable_every_route_that_passes_takes_over_once_it_is_agreed(world: World) -> None:
    second = agreed_branch(world)
    told = [{"id": second, "code": "R2", "sections": ["S1"]}]
    effects = world.ask(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/design/effects", json=measured(make_design()))
    assert effects["other_routes"] == told
    assert revise(world, world.route_id, measured(make_design())).status_code == 200
    proposed = world.ask(ENGINEER, "GET", f"/v1/routes/{world.route_id}/design/2")
    assert proposed["effects"]["other_routes"] == told
    # Until the engineer agrees nothing is another.
    assert [first_cable(world, one) for one in (world.route_id, second)] == [(1, "1000.00")] * 2
    before = world.ask(CONTRACTOR, "GET", f"/v1/routes/{second}")["version"]
    assert agree(world, world.route_id, 2).is_success
    assert [first_cable(world, one) for one in (world.route_id, second)] == [(2, "1200.00")] * 2
    assert world.ask(CONTRACTOR, "GET", f"/v1/routes/{second}")["version"] == before + 1
    # Its own fibres and its own cable stay.
    design = world.ask(CONTRACTOR, "GET", f"/v1/routes/{second}/design")["design"]
    assert [one["first_cable_fibre"] for one in design["sections"]] == [13, 1, 1]
    assert ("R2", "S1", 13, 24) in held(world)
    with snapshot(world.engine) as session:
        assert verify_chain(session, UUID(world.project_id)) is None
        entries = (
            session.connection().exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
        )
    agreed = [one["subject"] for one in map(orjson.loads, entries) if one["action"] == "design.agreed"]
    assert agreed == [f"{world.route_id}/1", f"{second}/1", f"{world.route_id}/2,{second}/2"]
    # Asked again after an answer was lost it changes nothing.
    assert agree(world, world.route_id, 2).is_success
    assert first_cable(world, second) == (2, "1200.00")


def test_a_correction_waits_for_what_another_route_has_proposed_or_submitted(world: World) -> None:
    second = agreed_branch(world)
    assert revise(world, world.route_id, measured(make_design())).status_code == 200
    other = {**branch(13), "name": "Otherwise"}
    assert revise(world, second, other).status_code == 200
    refused = agree(world, world.route_id, 2)
    assert (refused.status_code, first_cable(world, second)) == (409, (1, "1000.00"))
    assert "Route R2 passes S1 too" in refused.json()["detail"]
    world.ask(ENGINEER, "PUT", f"/v1/routes/{second}/design/refusal", json={"revision": 2, "reason": "first the cable"})
    assert agree(world, world.route_id, 2).is_success
    assert first_cable(world, second) == (3, "1200.00")


def test_a_correction_waits_for_a_submission_and_changes_no_acceptance(world: World) -> None:
    second = agreed_branch(world)
    world.record(finished_route())
    assert revise(world, second, measured(branch(13), length_m=1001.0)).status_code == 200
    assert world.submit().status_code == httpx.codes.ACCEPTED
    world.drain()
    refused = agree(world, second, 2)
    assert refused.json()["type"].endswith("route.submitted")
    assert (refused.status_code, first_cable(world, world.route_id)) == (409, (1, "1000.00"))
    assert decide(world, segments={"SEG1": "accepted"}).is_success
    assert agree(world, second, 2).is_success
    assert first_cable(world, world.route_id) == (2, "1001.00")
    world.drain()
    [segment] = world.status()["segments"]
    assert segment["status"] == "accepted"
    notices = world.ask(TokenKind.BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    assert [one["data"]["cable_length_m"] for one in notices if one["type"] == "segment.accepted"] == ["3000.00"]


def test_a_revision_that_says_the_same_of_the_cable_waits_for_nobody(world: World) -> None:
    second = agreed_branch(world)
    assert revise(world, second, measured(branch(13))).status_code == 200
    assert revise(world, world.route_id, {**make_design(), "name": "Otherwise"}).status_code == 200
    assert agree(world, world.route_id, 2).is_success
    assert agree(world, second, 2).is_success
    assert [first_cable(world, one) for one in (world.route_id, second)] == [(3, "1200.00"), (2, "1200.00")]


def test_a_cable_is_never_corrected_to_fewer_fibres_than_another_route_has_in_it(world: World) -> None:
    agreed_branch(world)
    assert revise(world, world.route_id, measured(make_design(), fibre_count=24)).status_code == 200
    refused = faults_of(revise(world, world.route_id, measured(make_design(), fibre_count=23)))
    assert refused == [("/sections/0/fibre_count", "cable fibre 24 is route R2's")]


def test_before_any_agreement_and_of_new_cable_nobody_is_corrected(world: World) -> None:
    second = describe(world, branch(13)).json()["id"]
    said = [("/sections/0/cable_length_m", "is 1000.00 on route R1, which passes this cable too")]
    assert faults_of(revise(world, second, measured(branch(13)))) == said
    third = describe(world, on_other_cable(make_design(), "R3")).json()["id"]
    assert agree(world, third, 1).is_success
    own = on_other_cable(make_design(), "R3")
    sections = [make_section("S1", cable_length_m=1200.0, first_cable_fibre=101), *own["sections"][1:]]
    [segment] = own["segments"]
    through = {**own, "sections": sections, "segments": [{**segment, "sections": [one["id"] for one in sections]}]}
    assert [one[0] for one in faults_of(revise(world, third, through))] == ["/sections/0/cable_length_m"] * 2


def layings_known(world: World, route_id: str) -> list[str]:
    statement = text(
        "SELECT record_id::text FROM record_fibre JOIN record ON id = record_id"
        " WHERE kind = 'cable_laying' AND record_fibre.route_id = :route"
    )
    with transaction(world.engine) as session:
        return [row[0] for row in session.execute(statement, {"route": UUID(route_id)})]


@pytest.mark.parametrize("is_described_before", [True, False])
def test_how_a_cable_was_laid_is_known_to_every_route_that_passes_it(world: World, is_described_before: bool) -> None:
    second = agreed_branch(world) if is_described_before else ""
    laid = make_cable_laying()
    world.record([laid])
    second = second or agreed_branch(world)
    assert [layings_known(world, one) for one in (world.route_id, second)] == [[laid["id"]], [laid["id"]]]
    other = replace(world, route_id=second)
    [again] = other.post_records([laid])["results"]
    assert again["outcome"] == "already_stored"
    [refused] = other.post_records([make_cable_laying(section="S2", marks_m={"C1": 1.0, "C2": 2.0})])["results"]
    assert refused["outcome"] == "refused"


def test_a_revision_lets_go_of_cable_fibres_and_takes_them_again(world: World) -> None:
    route_id = describe(world, branch(13)).json()["id"]
    assert faults_of(revise(world, route_id, branch(7)))[0][1] == "cable fibre 7 is route R1's"
    for first in (25, 19, 13):
        assert revise(world, route_id, branch(first)).status_code == 200
        assert ("R2", "S1", first, first + 11) in held(world)
        assert len(held(world)) == 6
    assert describe(world, branch(25, code="R3")).status_code == 201


def test_what_is_proposed_holds_its_cable_fibres_beside_what_was_agreed(world: World) -> None:
    def of_r2() -> list[tuple[int, int]]:
        return [(row[2], row[3]) for row in held(world) if row[:2] == ("R2", "S1")]

    route_id = describe(world, branch(13)).json()["id"]
    design = f"/v1/routes/{route_id}/design"
    world.ask(TokenKind.ENGINEER, "PUT", f"{design}/agreement", json={"revision": 1})
    assert revise(world, route_id, branch(31)).status_code == 200
    assert of_r2() == [(13, 24), (31, 42)]
    assert faults_of(describe(world, branch(42, code="R3")))[0][1] == "cable fibre 42 is route R2's"
    world.ask(TokenKind.ENGINEER, "PUT", f"{design}/refusal", json={"revision": 2, "reason": "not these"})
    assert of_r2() == [(13, 24)]
    assert revise(world, route_id, branch(19)).status_code == 200
    assert of_r2() == [(13, 30)]
    assert revise(world, route_id, branch(13)).status_code == 200
    assert of_r2() == [(13, 24)]
    assert revise(world, route_id, branch(19)).status_code == 200
    world.ask(TokenKind.ENGINEER, "PUT", f"{design}/agreement", json={"revision": 4})
    assert of_r2() == [(19, 30)]


def test_of_two_routes_described_at_once_one_gets_the_fibres(world: World) -> None:
    barrier = Barrier(2)

    def ask(code: str) -> int:
        barrier.wait()
        return describe(world, branch(13, code=code)).status_code

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(ask, ("R2", "R3"))) == [201, 422]


@pytest.mark.parametrize(("first", "is_refused"), [(12, True), (13, False)])
def test_the_database_itself_gives_no_cable_fibre_to_two_routes(world: World, first: int, is_refused: bool) -> None:
    other = describe(world, branch(101)).json()["id"]
    statement = text(
        "INSERT INTO route_section SELECT project_id, 'S1', :route, :first, :first, section_number, true"
        " FROM route_section WHERE section_id = 'S1' LIMIT 1"
    )

    def take() -> None:
        with transaction(world.engine) as session:
            session.execute(statement, {"route": UUID(other), "first": first})

    if is_refused:
        with pytest.raises(IntegrityError, match="ex_route_section_held"):
            take()
    else:
        take()


def test_two_routes_share_the_largest_cable_through_400_closures(world: World) -> None:
    size: Body = {"closures": 400, "fibre_count": 864}
    sections = [make_section(f"L{n}", fibre_count=1728) for n in range(401)]
    for code, first in (("L1", None), ("L2", 865)):
        own = [one if first is None else {**one, "first_cable_fibre": first} for one in sections]
        assert describe(world, make_design(code=code, **size, sections=own)).status_code == 201
    assert {row[2:] for row in held(world) if row[1].startswith("L")} == {(1, 864), (865, 1728)}
