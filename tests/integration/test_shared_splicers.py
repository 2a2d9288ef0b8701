"""A splicer that works on two routes: its calibrations count on both, wherever posted and whichever came first."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier
from time import sleep
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import text

from service.storage.routes import change_sites
from service.storage.session import transaction
from service.vocabulary.words import TokenKind
from tests.factories import Body, make_calibration, make_closure_state, make_design, make_splice, on_other_cable
from tests.world import World, open_project, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
CALIBRATED = {
    "code": "CALIBRATED",
    "quantity": "workmanship",
    "demand": {"aspect": "calibrated_splicer", "most_age_h": 24.0},
}
FAILED_AGAIN = make_calibration(made_at="2025-03-03T07:30:00Z", passed=False)


@pytest.fixture
def routes(bare_world: World) -> list[str]:
    """Give two routes of one project that ask for a calibrated splicer; the world is on the first."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    form = {"title": "Agreed criteria", "criteria": [CALIBRATED]}
    bare_world.ask(ENGINEER, "POST", f"/v1/projects/{bare_world.project_id}/criteria", json=form)
    found = [_describe(bare_world, code) for code in ("R1", "R2")]
    bare_world.drain()
    return found


def _describe(world: World, code: str) -> str:
    design = make_design(code=code, name=f"Route {code}")
    for site in design["sites"]:
        site["id"] = f"{code}-{site['id']}"
    design["segments"][0]["sites"] = [site["id"] for site in design["sites"]]
    design = on_other_cable(design, code)
    route: str = world.ask(CONTRACTOR, "POST", f"/v1/projects/{world.project_id}/routes", json=design)["id"]
    binding = f"/v1/routes/{route}/criteria"
    world.ask(ENGINEER, "PUT", binding, json={"version": 1})
    world.ask(CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": 1})
    return route


def post(world: World, route: str, *records: Body) -> list[str]:
    """Post records to a route, have everything judged, and return what became of each."""
    outcomes = send(world, route, *records)
    world.drain()
    return outcomes


def send(world: World, route: str, *records: Body) -> list[str]:
    form = {"sent_at": datetime.now(UTC).isoformat(), "records": records}
    answer = world.ask(CREW, "POST", f"/v1/routes/{route}/records", json=form)
    return [one["outcome"] for one in answer["results"]]


def splice_on(code: str, **changes: Any) -> Body:
    return make_splice(site=f"{code}-C1", **changes)


def outcome(world: World, route: str, *, fibre: int = 1) -> str:
    """Return whether the splice in the first closure was made by a calibrated splicer."""
    document = world.ask(CREW, "GET", f"/v1/routes/{route}/fibres/{fibre}")
    [found] = [one for one in document["findings"] if one.get("site", "").endswith("C1")]
    word: str = found["outcome"]
    return word


def versions(world: World) -> list[int]:
    with world.engine.connect() as connection:
        return [row.version for row in connection.exec_driver_sql("SELECT version FROM route ORDER BY code")]


def test_a_calibration_counts_on_a_route_that_was_spliced_before_it_came(bare_world: World, routes: list[str]) -> None:
    first, second = routes
    post(bare_world, second, splice_on("R2"))
    assert outcome(bare_world, second) == "undetermined"
    post(bare_world, first, make_calibration())
    assert outcome(bare_world, second) == "conforming"
    post(bare_world, first, FAILED_AGAIN)
    assert outcome(bare_world, second) == "nonconforming"


def test_a_calibration_counts_on_a_route_that_is_spliced_or_described_after_it(
    bare_world: World, routes: list[str]
) -> None:
    first, second = routes
    post(bare_world, first, make_calibration())
    post(bare_world, second, splice_on("R2"))
    assert outcome(bare_world, second) == "conforming"
    third = _describe(bare_world, "R3")
    post(bare_world, third, splice_on("R3"))
    assert outcome(bare_world, third) == "conforming"


def test_a_calibration_ended_on_its_own_route_counts_on_no_other(bare_world: World, routes: list[str]) -> None:
    first, second = routes
    post(bare_world, second, splice_on("R2"))
    post(bare_world, first, make_calibration(), FAILED_AGAIN)
    form = {"records": [FAILED_AGAIN["id"]], "reason": "another splicer's"}
    bare_world.ask(CONTRACTOR, "POST", f"/v1/routes/{first}/withdrawals", json=form)
    bare_world.drain()
    assert outcome(bare_world, second) == "conforming"
    again = {**make_calibration(passed=False), "id": FAILED_AGAIN["id"][:-4] + "0000"}
    correction = {"reason": "typed wrong", "sent_at": datetime.now(UTC).isoformat(), "record": again}
    path = f"/v1/routes/{first}/records/{make_calibration()['id']}/replacement"
    bare_world.ask(CREW, "POST", path, json=correction)
    bare_world.drain()
    assert outcome(bare_world, second) == "nonconforming"


def test_a_calibration_is_one_record_on_all_routes_and_moves_only_those_its_splicer_works_on(
    bare_world: World, routes: list[str]
) -> None:
    first, second = routes
    post(bare_world, second, splice_on("R2", splicer_serial="SPL-2"))
    before = versions(bare_world)
    assert post(bare_world, first, make_calibration()) == ["stored"]
    assert versions(bare_world)[1] == before[1]
    assert post(bare_world, second, make_calibration()) == ["already_stored"]
    assert post(bare_world, second, {**make_calibration(), "passed": False}) == ["conflict"]


def test_a_calibration_from_another_route_is_of_the_record_set_of_this_one(
    bare_world: World, routes: list[str]
) -> None:
    first, second = routes
    post(bare_world, first, make_calibration())
    post(bare_world, second, splice_on("R2"))
    ask = f"SELECT record_id::text FROM record_fibre WHERE route_id = '{second}' AND fibre = 0"
    with bare_world.engine.connect() as connection:
        assert [row.record_id for row in connection.exec_driver_sql(ask)] == [make_calibration()["id"]]


def replace_splice(world: World, route: str) -> list[str]:
    """Correct, as the office may, what was no splice but a calibration."""
    form = {"reason": "typed wrong", "sent_at": datetime.now(UTC).isoformat(), "record": make_calibration()}
    path = f"/v1/routes/{route}/records/{splice_on('R1')['id']}/replacement"
    return [world.ask(CONTRACTOR, "POST", path, json=form)["outcome"]]


ACTS: dict[str, Callable[[World, str], list[str]]] = {
    "calibration": lambda world, route: send(world, route, make_calibration()),
    "lid": lambda world, route: send(world, route, make_closure_state(site="R1-C1")),
    "splice replaced by a calibration": replace_splice,
}


@pytest.mark.parametrize("act", ACTS.values(), ids=ACTS)
def test_what_reaches_other_routes_waits_for_one_being_described_before_it_locks_any(
    bare_world: World, routes: list[str], act: Callable[[World, str], list[str]]
) -> None:
    post(bare_world, routes[0], splice_on("R1"))
    with transaction(bare_world.engine) as session, ThreadPoolExecutor(1) as crew:
        change_sites(session, UUID(bare_world.project_id))
        posted = crew.submit(act, bare_world, routes[0])
        waiting = text("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted")
        while not (posted.done() or session.execute(waiting).scalar_one()):
            sleep(0.01)
        is_waiting = not posted.done()
        unlocked = session.execute(text("SELECT id::text FROM route FOR UPDATE SKIP LOCKED")).scalars().all()
        session.rollback()
        assert posted.result() == ["stored"]
    assert is_waiting
    assert set(unlocked) == set(routes)


def test_calibrations_and_splices_that_come_at_once_all_meet(bare_world: World, routes: list[str]) -> None:
    # On either route one crew calibrates while the other splices; whoever comes last has to see the other.
    jobs = [
        (route, record)
        for number in range(1, 9)
        for route, record in (
            (routes[number % 2], make_calibration(splicer_serial=f"SPL-{number}")),
            (routes[0], splice_on("R1", fibres=[number], splicer_serial=f"SPL-{number}")),
            (routes[1], splice_on("R2", fibres=[number], splicer_serial=f"SPL-{number}")),
        )
    ]
    start = Barrier(len(jobs))

    def act(route: str, record: Body) -> list[str]:
        start.wait()
        return send(bare_world, route, record)

    with ThreadPoolExecutor(len(jobs)) as crews:
        posted = [crews.submit(act, *job) for job in jobs]
    assert [one.result() for one in posted] == [["stored"]] * len(jobs)
    bare_world.drain()
    found = {(route, number): outcome(bare_world, route, fibre=number) for route in routes for number in range(1, 9)}
    assert set(found.values()) == {"conforming"}, found
