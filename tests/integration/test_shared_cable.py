"""A cable that two routes pass: each has fibres of its own in it, held apart by the service and by the database."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any
from uuid import UUID

import httpx
import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from service.storage.session import transaction
from service.vocabulary.words import TokenKind
from tests.factories import Body, make_design, make_section, make_site, make_terminal
from tests.world import World

CONTRACTOR = TokenKind.CONTRACTOR


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


def test_cable_that_turns_out_otherwise_gets_another_id_in_one_route_after_the_other(world: World) -> None:
    def measured(design: Body, id_: str) -> Body:
        first, *others = design["sections"]
        [segment] = design["segments"]
        sections = [{**first, "id": id_, "cable_length_m": 1200.0}, *others]
        return {
            **design,
            "sections": sections,
            "segments": [{**segment, "sections": [one["id"] for one in sections]}],
        }

    second = describe(world, branch(13)).json()["id"]
    routes = ((world.route_id, make_design()), (second, branch(13)))
    assert [revise(world, id_, measured(design, "S1")).status_code for id_, design in routes] == [422, 422]
    assert [revise(world, id_, measured(design, "S1-B")).status_code for id_, design in routes] == [200, 200]
    assert [row[2:] for row in held(world) if row[:2] == ("R2", "S1-B")] == [(13, 24)]


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
