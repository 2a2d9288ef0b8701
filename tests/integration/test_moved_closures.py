"""A closure built elsewhere than designed is found once enough fibres show it, and every fibre is judged by that."""

from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import Body, both_ways, cord_ended, make_closure_state, only, splice_criterion, with_events
from tests.integration.api.acts import newest_package
from tests.world import World, describe_route, open_project, read_demo

FIBRES = 4
AWAY_M = 30.0


@pytest.fixture
def route(bare_world: World) -> World:
    """Serve the API with a route of four fibres whose closures are sealed."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    describe_route(bare_world, design=cord_ended(fibres=FIBRES), criteria=only(splice_criterion()))
    bare_world.record([make_closure_state(site=site) for site in ("C1", "C2")])
    return bare_world


def traces_of(fibre: int, *, away_m: float = AWAY_M) -> list[Body]:
    """Return both traces of a fibre that show C1, designed at 1000 m, so much farther out."""

    def moved(trace: Body, by_m: float) -> Body:
        at_m = {"A": 1500.0, "B": 2300.0}[trace["from_site"]]

        def shifted(event: Body) -> Body:
            return {**event, "distance_m": event["distance_m"] + by_m} if event["distance_m"] == at_m else event

        return with_events(trace, shifted)

    forward, backward = both_ways(fibre=fibre, losses_db={"C1": 0.05}, design=cord_ended(fibres=FIBRES))
    return [moved(forward, away_m), moved(backward, -away_m)]


def reasons_at_c1(world: World, fibre: int) -> set[Any]:
    """Return why findings about a fibre's splice in C1 are undetermined; nothing for one that is not."""
    found = world.ask(TokenKind.ENGINEER, "GET", f"/v1/routes/{world.route_id}/fibres/{fibre}")
    return {one.get("reason") for one in found["findings"] if one.get("site") == "C1"}


def test_fibres_that_were_undetermined_are_judged_again_when_enough_show_the_closure(route: World) -> None:
    for fibre in (1, 2):
        route.record(traces_of(fibre))
    assert reasons_at_c1(route, 1) == {"ambiguous_event"}
    route.record(traces_of(3))
    assert [reasons_at_c1(route, fibre) for fibre in (1, 2, 3)] == [{None}] * 3


def test_a_package_judged_from_scratch_finds_the_closures_where_the_verdict_has_them(route: World) -> None:
    for fibre in range(FIBRES, 0, -1):
        route.record(traces_of(fibre))
    assert route.status()["segments"][0]["status"] == "conforming"
    assert route.submit().status_code == 202
    route.drain()
    assert newest_package(route)["certified_sha256"] is not None
