"""A dark fibre that the criteria tolerate, on its way: status, submission, package, decision, notice."""

from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import Body, both_ways, make_closure_state, make_continuity, splice_criterion
from tests.integration.api.acts import newest_package, refusal
from tests.unit.judgement.joints import only
from tests.unit.judgement.routes import cord_ended
from tests.world import World, describe_route, open_project, read_demo

pytestmark = pytest.mark.slow
CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
FIBRES, DARK = 3, 2


def route_with_a_dark_fibre(world: World, *, tolerated: int) -> World:
    """Return a route of three fibres of which one is dark, all judged."""
    open_project(world, project=read_demo("project"), people=read_demo("people"))
    design = cord_ended(fibres=FIBRES)
    criteria = {**only(splice_criterion(), {"code": "LIGHT", "quantity": "continuity"})}
    describe_route(world, design=design, criteria={**criteria, "dark_fibres_tolerated": tolerated})
    bodies: list[Body] = [make_closure_state(site=site) for site in ("C1", "C2")]
    for fibre in range(1, FIBRES + 1):
        seen = None if fibre == DARK else fibre
        bodies.append(make_continuity(fibre=fibre, seen=seen))
        if fibre != DARK:
            own: Any = {"fibre": fibre, "design": design}
            bodies += both_ways(**own)
    assert world.post_records(bodies)["failed"] == 0
    world.drain()
    return world


def submit(world: World, **changes: Any) -> Any:
    form = {
        "segments": ["SEG1"],
        "verdict_digest": world.status()["verdict_digest"],
        "responsible_person": "p-1c9",
        **changes,
    }
    return world.call(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/submissions", json=form)


def test_one_more_than_is_tolerated_is_not_submitted(bare_world: World) -> None:
    route = route_with_a_dark_fibre(bare_world, tolerated=0)
    assert route.status()["segments"][0]["status"] == "nonconforming"
    problem = refusal(submit(route), 422)
    assert all(f"fibre {DARK}" in error["detail"] for error in problem["errors"])


def test_a_tolerated_one_is_neither_missing_nor_conceded_nor_paid(bare_world: World) -> None:
    route = route_with_a_dark_fibre(bare_world, tolerated=1)
    status = route.status()
    assert (status["segments"][0]["status"], status["missing"]) == ("conforming", [])
    assert submit(route, concessions=[{"criterion": "LIGHT", "fibre": DARK, "reason": "dark"}]).status_code == 422
    assert submit(route).status_code == 202
    route.drain()
    package = newest_package(route)
    form = {"package_sha256": package["certified_sha256"], "segments": {"SEG1": "accepted"}}
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    route.ask(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=form, headers=headers)
    [notice] = route.ask(BILLING, "GET", f"/v1/projects/{route.project_id}/notices")["notices"]
    paid = notice["data"]
    assert (paid["fibres_accepted"], paid["fibres_conceded"], paid["fibres_dark"]) == (FIBRES - 1, 0, 1)
    # Two fibres of 3 km, spliced twice, with a pair at each end.
    assert (paid["fibre_length_m"], paid["splices"], paid["terminations"]) == ("6000.00", 4, 4)
