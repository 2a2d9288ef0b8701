"""When billing hears of an accepted segment: at once, or with all of its route."""

from service.vocabulary.words import TokenKind
from tests.factories import Body, both_ways, cord_ended, only, sealed, splice_criterion
from tests.world import World, describe_route, open_project, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
CONCESSION = {"criterion": "SPLICE-1550", "fibre": 1, "site": "C2", "position": 1, "reason": "the budget has room"}


def two_segments() -> Body:
    """Return the design of one fibre in two segments."""
    design = cord_ended(fibres=1)
    [segment] = design["segments"]
    near = {**segment, "sites": ["A", "C1"], "sections": ["S1", "S2"]}
    return {**design, "segments": [near, {**segment, "id": "SEG2", "sites": ["C2", "B"], "sections": ["S3"]}]}


def recorded(world: World, *, release: str) -> World:
    """Return a route of two segments, tested; the splice in the second is above its limit."""
    open_project(world, project=read_demo("project"), people=read_demo("people"))
    describe_route(world, design=two_segments(), criteria={**only(splice_criterion()), "release": release})
    world.record([*sealed(), *both_ways(design=two_segments(), losses_db={"C1": 0.03, "C2": 0.2})])
    return world


def accept(world: World, segment: str, *concessions: Body) -> None:
    """Submit one segment, and let the engineer accept it with every concession asked for."""
    assert world.submit([segment], concessions=concessions).is_success
    world.drain()
    [own] = [one for one in world.status()["segments"] if one["id"] == segment]
    package = world.ask(ENGINEER, "GET", f"/v1/packages/{own['package_id']}")
    decision = {
        "package_sha256": package["certified_sha256"],
        "segments": {segment: "accepted"},
        "concessions_granted": list(range(1, len(concessions) + 1)),
    }
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    world.ask(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=decision, headers=headers)
    world.drain()


def heard(world: World) -> list[tuple[str, int]]:
    """Return the segments that billing hears of in order, each with the fibres conceded."""
    notices = world.ask(BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    return [(one["data"]["segment_id"], one["data"]["fibres_conceded"]) for one in notices]


def released(world: World) -> dict[str, tuple[str, bool]]:
    return {one["id"]: (one["status"], one["is_released"]) for one in world.status()["segments"]}


def test_alone_each_segment_is_told_when_it_is_accepted(bare_world: World) -> None:
    world = recorded(bare_world, release="alone")
    accept(world, "SEG2", CONCESSION)
    assert heard(world) == [("SEG2", 1)]
    assert released(world) == {"SEG1": ("conforming", False), "SEG2": ("accepted", True)}
    accept(world, "SEG1")
    assert heard(world) == [("SEG2", 1), ("SEG1", 0)]


def test_with_its_route_a_segment_waits_for_the_last_and_each_is_told_once(bare_world: World) -> None:
    world = recorded(bare_world, release="with_route")
    accept(world, "SEG2", CONCESSION)
    assert heard(world) == []
    assert released(world) == {"SEG1": ("conforming", False), "SEG2": ("accepted", False)}
    accept(world, "SEG1")
    # In route order, each by its own package: what was conceded before is conceded still.
    assert heard(world) == [("SEG1", 0), ("SEG2", 1)]
    assert set(released(world).values()) == {("accepted", True)}


def test_a_refusal_lets_nothing_out(bare_world: World) -> None:
    world = recorded(bare_world, release="with_route")
    accept(world, "SEG2", CONCESSION)
    assert world.submit().is_success
    world.drain()
    package = world.ask(ENGINEER, "GET", f"/v1/packages/{world.status()['segments'][0]['package_id']}")
    decision = {"package_sha256": package["certified_sha256"], "segments": {"SEG1": "refused"}, "reason": "see C1"}
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    world.ask(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=decision, headers=headers)
    assert heard(world) == []
