"""A closure that two routes pass: its lid's records reach both, wherever posted and whenever a route is described."""

from typing import Any
from uuid import NAMESPACE_URL, uuid5

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import finished_fibre, make_closure_state, make_design, make_site, on_other_cable
from tests.world import World

REOPENED_AT = "2025-04-01T08:00:00Z"


@pytest.fixture
def finished_world(world: World) -> World:
    """Return a world whose fibre 1 is finished, both closures sealed and tested."""
    world.record(finished_fibre())
    assert _reasons(world, fibre=1) == set()
    return world


def test_a_lid_opened_on_one_route_voids_the_tests_of_the_other(finished_world: World) -> None:
    first, second = finished_world.route_id, _describe_second(finished_world)
    finished_world.route_id = second
    opened = make_closure_state(site="C2", state="opened", made_at=REOPENED_AT)
    finished_world.record([opened])
    finished_world.route_id = first
    assert _reasons(finished_world, fibre=1) == {"closure_open"}


def test_a_route_described_after_its_closure_was_sealed_knows_that_it_is(finished_world: World) -> None:
    finished_world.route_id = _describe_second(finished_world)
    records = [_by_others(one) for one in finished_fibre(design=_second_design()) if one["kind"] != "closure_state"]
    finished_world.record(records)
    assert _reasons(finished_world, fibre=1, site="C2") == set()
    assert _reasons(finished_world, fibre=1, site="D1") == {"sealing_not_recorded"}


def test_a_lid_record_is_one_record_on_both_routes(finished_world: World) -> None:
    [sealed, *_] = [one for one in finished_fibre() if one["kind"] == "closure_state" and one["site"] == "C2"]
    finished_world.route_id = _describe_second(finished_world)
    [receipt] = finished_world.post_records([sealed])["results"]
    assert receipt["outcome"] == "already_stored"


def _second_design() -> dict[str, Any]:
    design = on_other_cable(make_design(name="Route two"), "R2")
    design["sites"][1] = make_site("D1")
    design["segments"][0]["sites"] = ["A", "D1", "C2", "B"]
    return design


def _describe_second(world: World) -> str:
    path = f"/v1/projects/{world.project_id}/routes"
    route = world.ask(TokenKind.CONTRACTOR, "POST", path, json=_second_design())
    binding = f"/v1/routes/{route['id']}/criteria"
    world.ask(TokenKind.ENGINEER, "PUT", binding, json={"version": 1})
    world.ask(TokenKind.CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": 1})
    world.drain()
    route_id: str = route["id"]
    return route_id


def _by_others(record: dict[str, Any]) -> dict[str, Any]:
    """Return the same record by another crew, which is another record."""
    return {**record, "operator": "op-9", "id": str(uuid5(NAMESPACE_URL, f"second {record['id']}"))}


def _reasons(world: World, *, fibre: int, site: str | None = None) -> set[str]:
    document = world.ask(TokenKind.CREW, "GET", f"/v1/routes/{world.route_id}/fibres/{fibre}")
    return {
        finding["reason"]
        for finding in document["findings"]
        if "reason" in finding and site in {None, finding.get("site")}
    }
