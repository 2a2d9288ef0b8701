"""Many crews at once, on routes that share a closure: nobody waits for ever and everything is stored once."""

import random
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest
from sqlmodel import col, select

from service.actions.access.audit import verify_chain
from service.storage.session import snapshot, transaction
from service.storage.tables import Record, RecordEnd, RecordFibre
from service.vocabulary.words import TokenKind
from tests.factories import make_closure_state, make_design, make_splice, on_other_cable
from tests.world import World

THREADS = 8
ROUNDS = 8


def test_posting_withdrawing_replacing_and_submitting_on_routes_that_share_closures_never_deadlocks(
    world: World,
) -> None:
    other = world.ask(
        TokenKind.CONTRACTOR,
        "POST",
        f"/v1/projects/{world.project_id}/routes",
        json=on_other_cable(make_design(), "R2"),
    )["id"]
    routes = [world.route_id, other]
    withdrawn: list[str] = []

    def work(number: int) -> list[int]:
        draw, codes = random.Random(number), []
        for _ in range(ROUNDS):
            route = draw.choice(routes)
            records = [_fresh(draw) for _ in range(draw.randint(1, 4))]
            codes.append(_post(world, route, records))
            if draw.random() < 0.5:
                ids = [record["id"] for record in records]
                codes.append(_withdraw(world, route, ids))
                withdrawn.extend(ids)
            elif draw.random() < 0.5:
                codes.append(_replace(world, route, records[0]["id"], _fresh(draw)))
            if draw.random() < 0.3:
                codes.append(_submit(world, route))
        return codes

    stop = threading.Event()
    judging = threading.Thread(target=_keep_judging, args=(world, stop))
    judging.start()
    try:
        with ThreadPoolExecutor(THREADS) as crews:
            codes = [code for answers in crews.map(work, range(THREADS)) for code in answers]
    finally:
        stop.set()
        judging.join(60)
    # A submission may find records waiting (409), another verdict (412), or findings that are open (422).
    assert set(codes) <= {200, 207, 409, 412, 422}
    assert codes.count(207) == THREADS * ROUNDS
    with snapshot(world.engine) as session:
        ended = {
            str(id_) for id_ in session.exec(select(RecordEnd.record_id).where(col(RecordEnd.replaced_by).is_(None)))
        }
        assert verify_chain(session, session.exec(select(Record.project_id)).first() or uuid4()) is None
    assert ended == set(withdrawn)
    world.drain()
    assert world.status()["fibres_waiting"] == 0


def test_a_lid_opened_reaches_both_routes_once(world: World) -> None:
    other = world.ask(
        TokenKind.CONTRACTOR,
        "POST",
        f"/v1/projects/{world.project_id}/routes",
        json=on_other_cable(make_design(), "R2"),
    )["id"]
    lids = [make_closure_state(site="C1", id=str(uuid4())) for _ in range(20)]

    def post(number: int) -> int:
        return _post(world, [world.route_id, other][number % 2], [lids[number]])

    with ThreadPoolExecutor(THREADS) as crews:
        assert set(crews.map(post, range(len(lids)))) == {207}
    with transaction(world.engine) as session:
        links = session.execute(select(RecordFibre.route_id, RecordFibre.record_id)).all()
    assert len(links) == len(set(links)) == 2 * len(lids)


def _same_route(world: World) -> list[str]:
    return [world.route_id, world.route_id]


def _two_routes(world: World) -> list[str]:
    path = f"/v1/projects/{world.project_id}/routes"
    return [
        world.route_id,
        world.ask(TokenKind.CONTRACTOR, "POST", path, json=on_other_cable(make_design(), "R2"))["id"],
    ]


@pytest.mark.parametrize("choose_routes", [_same_route, _two_routes])
def test_the_same_records_in_two_orders_at_once_are_stored_once(
    world: World, choose_routes: Callable[[World], list[str]]
) -> None:
    routes = choose_routes(world)
    for _ in range(4):
        records = [make_splice(id=str(uuid4()), fibres=[1 + number % 12]) for number in range(200)]
        start = threading.Barrier(2)

        def post(
            route: str,
            batch: Sequence[dict[str, Any]],
            start: threading.Barrier = start,
        ) -> int:
            start.wait()
            return _post(world, route, batch)

        with ThreadPoolExecutor(2) as crews:
            answers = [crews.submit(post, routes[0], records), crews.submit(post, routes[1], records[::-1])]
            assert [answer.result() for answer in answers] == [207, 207]
        with transaction(world.engine) as session:
            ids = [record["id"] for record in records]
            stored = session.exec(select(Record.id).where(col(Record.id).in_(ids))).all()
            links = session.exec(select(RecordFibre.record_id).where(col(RecordFibre.record_id).in_(ids))).all()
        assert len(stored) == len(links) == len(records)


def _fresh(draw: random.Random) -> dict[str, Any]:
    site = draw.choice(["C1", "C2"])
    if draw.random() < 0.4:
        return make_closure_state(site=site, state=draw.choice(["opened", "sealed"]), id=str(uuid4()))
    return make_splice(site=site, fibres=[draw.randint(1, 12)], id=str(uuid4()))


def _post(world: World, route: str, records: Sequence[dict[str, Any]]) -> int:
    body = {"sent_at": datetime.now(UTC).isoformat(), "records": list(records)}
    return world.call(TokenKind.CREW, "POST", f"/v1/routes/{route}/records", json=body).status_code


def _withdraw(world: World, route: str, ids: Sequence[str]) -> int:
    form = {"records": list(ids), "reason": "made on the wrong fibre"}
    return world.call(TokenKind.CONTRACTOR, "POST", f"/v1/routes/{route}/withdrawals", json=form).status_code


def _replace(world: World, route: str, old: str, new: dict[str, Any]) -> int:
    form = {"reason": "made in another closure", "sent_at": datetime.now(UTC).isoformat(), "record": new}
    path = f"/v1/routes/{route}/records/{old}/replacement"
    return world.call(TokenKind.CONTRACTOR, "POST", path, json=form).status_code


def _submit(world: World, route: str) -> int:
    status = world.ask(TokenKind.CONTRACTOR, "GET", f"/v1/routes/{route}/acceptance")
    form = {
        "segments": ["SEG1"],
        "verdict_digest": status["verdict_digest"] or "0" * 64,
        "responsible_person": "p-1c9",
    }
    return world.call(TokenKind.CONTRACTOR, "POST", f"/v1/routes/{route}/submissions", json=form).status_code


def _keep_judging(world: World, stop: threading.Event) -> None:
    while not stop.wait(0.02):
        world.drain()
