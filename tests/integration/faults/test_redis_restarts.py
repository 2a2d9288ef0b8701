"""Redis goes and comes back while every place of the workers is taken; work is taken again by itself.

The long form, ten times each and with Redis away for a minute: FAULT_ROUNDS=10 REDIS_AWAY_S=60.
"""

import os
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
import redis as redis_library
from sqlalchemy import text

from service.storage.jobs import make_due
from service.storage.session import transaction
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.conftest import Servers
from tests.factories import make_design, make_splice, on_other_cable
from tests.integration.faults.processes import Part, wait_until
from tests.world import World
from worker.app import KINDS_AT, MOST_WAITING_HINTS, make_ask_room, redis_client
from worker.demo.embedded.redis import RedisServer
from worker.relay import Relay

pytestmark = pytest.mark.timeout(1800)
ROUTES, SPLICES = 10, 12
ROUNDS = int(os.environ.get("FAULT_ROUNDS", "1"))
AWAY_S = float(os.environ.get("REDIS_AWAY_S", "5"))
# Asked of us: work is taken again so soon after Redis is back.
TAKEN_WITHIN_S = 30.0


def _kill(redis: RedisServer) -> None:
    redis.kill()
    redis.start()


def _restart(redis: RedisServer) -> None:
    redis.stop()
    redis.start()


def _stay_away(redis: RedisServer) -> None:
    redis.stop()
    time.sleep(AWAY_S)
    redis.start()


def _empty(redis: RedisServer) -> None:
    redis_library.Redis(unix_socket_path=str(redis.socket)).flushall()


@dataclass(frozen=True)
class Crew:
    """Ten routes to post to, and the parts that judge them."""

    world: World
    routes: list[str]
    parts: list[Part]

    def post_everywhere(self) -> None:
        """Post twelve splices to each route at once."""
        with ThreadPoolExecutor(ROUTES) as threads:
            list(threads.map(self._post, self.routes))

    def _post(self, route_id: str) -> None:
        for fibre in range(1, SPLICES + 1):
            record = make_splice(id=str(uuid4()), fibres=[fibre])
            body = {"sent_at": record["made_at"], "records": [record]}
            answer: Any = self.world.ask(TokenKind.CREW, "POST", f"/v1/routes/{route_id}/records", json=body)
            assert answer["results"][0]["status"] == 201

    def waiting(self) -> int:
        """Return how many fibres of all routes wait to be judged."""
        with transaction(self.world.engine) as session:
            statement = text("SELECT count(*) FROM fibre WHERE judged_version < evidence_version")
            return int(session.connection().execute(statement).scalar_one())


@pytest.fixture
def crew(world: World, servers: Servers, tmp_path: Path) -> Iterator[Crew]:
    servers.redis.start()
    path = f"/v1/projects/{world.project_id}"
    routes = [world.route_id]
    for number in range(2, ROUTES + 1):
        design = on_other_cable(make_design(), f"R{number}")
        made = world.ask(TokenKind.CONTRACTOR, "POST", f"{path}/routes", json=design)
        routes.append(made["id"])
        for kind, way in ((TokenKind.ENGINEER, "criteria"), (TokenKind.CONTRACTOR, "criteria/acknowledgement")):
            world.ask(kind, "PUT", f"/v1/routes/{made['id']}/{way}", json={"version": 1})
    two = ["--concurrency", "2"]
    with ExitStack() as started:
        parts = [
            started.enter_context(Part(name, world.settings, tmp_path / f"{name}-{number}.log", arguments=arguments))
            for number, (name, arguments) in enumerate((("relay", []), ("worker", two), ("worker", two)))
        ]
        crew = Crew(world, routes, parts)
        wait_until(lambda: crew.waiting() == 0)
        yield crew
    servers.redis.start()


@pytest.mark.parametrize("fault", [_kill, _restart, _stay_away, _empty])
def test_work_is_taken_again_and_nobody_restarts_anything(
    crew: Crew, servers: Servers, fault: Callable[[RedisServer], None]
) -> None:
    pids = [part.pid for part in crew.parts]
    for _ in range(ROUNDS):
        posting = threading.Thread(target=crew.post_everywhere)
        posting.start()
        wait_until(lambda: crew.waiting() > 0, every_s=0.001)
        time.sleep(0.3)
        fault(servers.redis)
        posting.join()
        back_at = time.monotonic()
        wait_until(lambda: crew.waiting() == 0, within_s=TAKEN_WITHIN_S)
        print(f"{fault.__name__}: all judged {time.monotonic() - back_at:.1f} s after it was back")
    assert [part.pid for part in crew.parts if part.is_running] == pids


def test_hints_that_nobody_takes_come_to_an_end_and_other_queues_go_on(world: World, servers: Servers) -> None:
    servers.redis.start()
    redis = redis_client(world.settings)
    world.post_records([make_splice()])
    given: list[JobKind] = []
    kinds = list(KINDS_AT.values())
    relay = Relay(
        world.engine, lambda kind, _: given.append(kind), hint_again_s=0, groups=kinds, ask_room=make_ask_room(redis)
    )
    stop = threading.Event()
    redis.rpush("acc:ordinary", *range(MOST_WAITING_HINTS))
    with transaction(world.engine) as session:
        make_due(session, JobKind.CHECK_UPLOAD, project_id=UUID(world.project_id), subject_id=uuid4())
    running = threading.Thread(target=relay.run, args=(stop,))
    running.start()
    try:
        wait_until(lambda: JobKind.CHECK_UPLOAD in given)
        assert set(given) == {JobKind.CHECK_UPLOAD}
        # One hint is taken, and there is room again.
        redis.lpop("acc:ordinary")
        wait_until(lambda: JobKind.JUDGE in given)
    finally:
        stop.set()
        running.join(10)
        redis.delete("acc:ordinary")
