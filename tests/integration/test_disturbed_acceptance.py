"""An accepted segment of which later work changes what it was accepted on: the engineer hears of it, over HTTP."""

from typing import Any
from uuid import UUID

import orjson
import pytest
from sqlmodel import Session

from service.actions.access.audit import verify_chain
from service.vocabulary.words import TokenKind
from tests.factories import Body, both_ways, cord_ended, make_closure_state, make_splice, only, splice_criterion
from tests.integration.api.acts import newest_package
from tests.world import World, describe_route, open_project, read_demo

ENGINEER, BILLING = TokenKind.ENGINEER, TokenKind.BILLING
CONCESSION = {"criterion": "SPLICE-1550", "fibre": 2, "site": "C1", "position": 1, "reason": "the pit floods"}
LATER = "2025-04-02"


def traces_of(losses_db: dict[int, float], *, day: str = "2025-03-20") -> list[Body]:
    """Return traces of two fibres from both ends, which lose so much in C1."""
    design, made_at = cord_ended(fibres=2), f"{day}T12:00:00Z"
    return [
        trace
        for fibre, loss_db in losses_db.items()
        for trace in both_ways(fibre=fibre, losses_db={"C1": loss_db, "C2": 0.03}, design=design, made_at=made_at)
    ]


def accept(world: World, *concessions: Body) -> None:
    world.submit(concessions=concessions).raise_for_status()
    world.drain()
    package = newest_package(world)
    form = {
        "package_sha256": package["certified_sha256"],
        "segments": {"SEG1": "accepted"},
        "concessions_granted": [1] if concessions else [],
    }
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    world.ask(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=form, headers=headers)
    world.drain()


@pytest.fixture
def route(bare_world: World) -> World:
    """Serve a route of two fibres, spliced and sealed; each splice may lose 0.10 dB."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    describe_route(bare_world, design=cord_ended(fibres=2), criteria=only(splice_criterion()))
    bare_world.record([make_closure_state(site="C1"), make_closure_state(site="C2")])
    return bare_world


def seen(world: World) -> tuple[str, int]:
    """Return a segment's standing as the engineer reads it, and how much came up since."""
    status = world.ask(ENGINEER, "GET", f"/v1/routes/{world.route_id}/acceptance")
    [segment] = status["segments"]
    return segment["status"], segment["open_since_acceptance"]


def changes(world: World) -> list[Any]:
    """Return the audit entries of changed evidence, in a chain whose links are right."""
    with Session(world.engine) as session:
        assert verify_chain(session, UUID(world.project_id)) is None
        texts = session.connection().exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    return [one for one in map(orjson.loads, texts) if one["action"] == "segment.evidence_changed"]


def test_what_stays_as_it_was_says_nothing(route: World) -> None:
    route.record(traces_of({1: 0.05, 2: 0.05}))
    accept(route)
    assert (seen(route), changes(route)) == (("accepted", 0), [])
    # Tested again, and still below the limit.
    route.record(traces_of({1: 0.06, 2: 0.05}, day=LATER))
    assert (seen(route), changes(route)) == (("accepted", 0), [])


@pytest.mark.parametrize(("loss_db", "came_up"), [(0.099, 0), (0.1, 0), (0.101, 1)])
def test_a_later_test_above_the_limit_is_told_and_the_acceptance_stands(
    route: World, loss_db: float, came_up: int
) -> None:
    route.record(traces_of({1: 0.05, 2: 0.05}))
    accept(route)
    route.record(traces_of({1: loss_db}, day=LATER))
    assert seen(route) == ("accepted", came_up)
    told = changes(route)
    assert len(told) == came_up
    for entry in told:
        assert (entry["actor"], entry["subject"]) == ("worker", f"{route.route_id}/SEG1")
        assert entry["content_sha256"] == route.status()["verdict_digest"]
    notices = route.ask(BILLING, "GET", f"/v1/projects/{route.project_id}/notices")["notices"]
    assert len(notices) == 1


def test_work_that_voids_its_tests_is_told_and_so_is_that_they_are_there_again(route: World) -> None:
    route.record(traces_of({1: 0.05, 2: 0.05}))
    accept(route)
    route.record(
        [
            make_closure_state(site="C1", state="opened", made_at=f"{LATER}T08:00:00Z"),
            make_splice(site="C1", fibres=[1], made_at=f"{LATER}T09:00:00Z"),
            make_closure_state(site="C1", made_at=f"{LATER}T10:00:00Z"),
        ]
    )
    status, came_up = seen(route)
    assert (status, came_up > 0) == ("accepted", True)
    told = len(changes(route))
    assert told >= 1
    route.record(traces_of({1: 0.05, 2: 0.05}, day=LATER))
    assert seen(route) == ("accepted", 0)
    assert len(changes(route)) > told


def test_what_its_package_conceded_did_not_come_up_since(route: World) -> None:
    route.record(traces_of({1: 0.05, 2: 0.2}))
    accept(route, CONCESSION)
    assert (seen(route), changes(route)) == (("accepted", 0), [])
    route.record(traces_of({1: 0.2}, day=LATER))
    assert seen(route) == ("accepted", 1)
    assert len(changes(route)) == 1


def test_before_it_is_accepted_nothing_is_told(route: World) -> None:
    route.record(traces_of({1: 0.2, 2: 0.05}))
    assert seen(route) == ("nonconforming", 0)
    route.record(traces_of({1: 0.05}, day=LATER))
    assert (seen(route)[1], changes(route)) == (0, [])
