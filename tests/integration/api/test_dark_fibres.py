"""A dark fibre that the criteria tolerate, on its way: status, submission, package, decision, notice."""

from service.vocabulary.words import TokenKind
from tests.factories import both_ways, continuity_criterion, cord_ended, make_continuity, only, sealed, splice_criterion
from tests.integration.api.acts import newest_package, refusal
from tests.world import World, describe_route, open_project, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
FIBRES, DARK = 3, 2


def route_with_a_dark_fibre(world: World, *, tolerated: int) -> World:
    """Return a route of three fibres of which one is dark, all judged."""
    open_project(world, project=read_demo("project"), people=read_demo("people"))
    design = cord_ended(fibres=FIBRES)
    criteria = only(splice_criterion(), continuity_criterion(code="LIGHT"), dark_fibres_tolerated=tolerated)
    describe_route(world, design=design, criteria=criteria)
    bodies = sealed()
    for fibre in range(1, FIBRES + 1):
        seen = None if fibre == DARK else fibre
        bodies.append(make_continuity(fibre=fibre, seen=seen))
        if fibre != DARK:
            bodies += both_ways(fibre=fibre, design=design)
    world.record(bodies)
    return world


def test_one_more_than_is_tolerated_is_not_submitted(bare_world: World) -> None:
    route = route_with_a_dark_fibre(bare_world, tolerated=0)
    assert route.status()["segments"][0]["status"] == "nonconforming"
    problem = refusal(route.submit(), 422)
    assert all(f"fibre {DARK}" in error["detail"] for error in problem["errors"])


def test_a_tolerated_one_is_neither_missing_nor_conceded_nor_paid(bare_world: World) -> None:
    route = route_with_a_dark_fibre(bare_world, tolerated=1)
    status = route.status()
    assert (status["segments"][0]["status"], status["missing"]) == ("conforming", [])
    assert route.submit(concessions=[{"criterion": "LIGHT", "fibre": DARK, "reason": "dark"}]).status_code == 422
    assert route.submit().status_code == 202
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
