"""PostgreSQL goes away at any moment: what was acknowledged is there afterwards, and what was not is no success."""

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import httpx
import psycopg
import pytest
from pydantic import SecretStr
from sqlalchemy.engine import make_url
from sqlmodel import select

from service.api.app import create_app
from service.settings import WorkerSettings
from service.storage.migrations import migrate
from service.storage.session import transaction
from service.storage.tables import Record
from service.vocabulary.words import TokenKind
from tests.api_server import serve
from tests.conftest import Servers
from tests.factories import make_criteria, make_design, make_splice
from tests.integration.faults.processes import Part, wait_until
from tests.world import World, describe_route, make_world, open_project, read_demo
from worker.demo.embedded.postgres import PostgresServer, run_postgres
from worker.demo.embedded.stack_folder import private_folder

pytestmark = pytest.mark.timeout(180)


@dataclass(frozen=True, kw_only=True)
class OwnDatabase:
    """A world on a PostgreSQL of its own, that may be killed."""

    world: World
    postgres: PostgresServer


@pytest.fixture
def own_database(servers: Servers, settings: WorkerSettings) -> Iterator[OwnDatabase]:
    servers.redis.start()
    with private_folder() as folder, run_postgres(folder) as postgres:
        migrate(postgres.owner_url, application_role="acceptance_app")
        own = settings.model_copy(update={"database_url": SecretStr(postgres.application_url)})
        app = create_app(own)
        with serve(app) as http:
            world = make_world(own, http, app)
            open_project(world, project=read_demo("project"), people=read_demo("people"))
            describe_route(world, design=make_design(), criteria=make_criteria())
            yield OwnDatabase(world=world, postgres=postgres)
            world.context.engine.dispose()


def test_a_crash_of_the_database_loses_no_acknowledged_record_and_everything_goes_on(
    own_database: OwnDatabase, tmp_path: Path
) -> None:
    world, postgres = own_database.world, own_database.postgres
    acknowledged: list[str] = []
    codes: list[int] = []
    stop = threading.Event()

    def post(number: int) -> None:
        while not stop.is_set():
            record = make_splice(id=str(uuid4()), fibres=[1 + number])
            answer = _post(world, record)
            codes.append(answer.status_code)
            if answer.status_code == httpx.codes.MULTI_STATUS:
                acknowledged.append(record["id"])
            else:
                time.sleep(0.05)

    with (
        Part("relay", world.settings, tmp_path / "relay.log") as relay,
        Part("worker", world.settings, tmp_path / "worker.log") as worker,
        ThreadPoolExecutor(3) as crews,
    ):
        wait_until(lambda: bool(world.status()["is_judged"]))
        posting = [crews.submit(post, number) for number in range(3)]
        try:
            for _ in range(2):
                time.sleep(1)
                postgres.kill()
                _wait_for_another(codes, httpx.codes.SERVICE_UNAVAILABLE)
                time.sleep(0.3)
                postgres.start()
                _wait_for_another(codes, httpx.codes.MULTI_STATUS)
        finally:
            stop.set()
        for one in posting:
            one.result()
        assert set(codes) == {207, 503}
        wait_until(lambda: bool(world.status()["is_judged"]))
        assert relay.is_running
        assert worker.is_running
    # Through the API's engine: the worker's tries no connection before it is used.
    with transaction(world.app.state.engine) as session:
        stored = {str(id_) for id_ in session.exec(select(Record.id))}
    assert set(acknowledged) <= stored
    assert len(acknowledged) == len(set(acknowledged))


_FAILING = """
    CREATE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS
    $$ BEGIN {fault}; RETURN NULL; END $$"""
_RAISE = "RAISE EXCEPTION 'not today'"
_DIE = "PERFORM pg_terminate_backend(pg_backend_pid()); PERFORM pg_sleep(5)"


@pytest.mark.parametrize("fault", [_RAISE, _DIE], ids=["refused", "connection lost"])
def test_a_posting_whose_commit_fails_is_no_success(world: World, servers: Servers, fault: str) -> None:
    database = make_url(world.settings.database_url.get_secret_value()).database
    assert database is not None
    record = make_splice()
    with servers.postgres.connect(database=database) as superuser:
        superuser.execute(_FAILING.format(fault=fault).encode())
        # Deferred: it fires at commit, when the handler has done all it does.
        superuser.execute(
            "CREATE CONSTRAINT TRIGGER fails AFTER INSERT ON record DEFERRABLE INITIALLY DEFERRED "
            "FOR EACH ROW EXECUTE FUNCTION fail()"
        )
        answer = _post(world, record)
        assert answer.status_code in {500, 503}
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert _stored(superuser) == 0
        superuser.execute("DROP TRIGGER fails ON record")
        assert _post(world, record).json()["results"][0]["status"] == 201
        assert _stored(superuser) == 1


def _wait_for_another(codes: list[int], code: int) -> None:
    """Wait until a posting is answered like this that was not answered yet."""
    answered = len(codes)
    wait_until(lambda: code in codes[answered:])


def _post(world: World, record: dict[str, object]) -> httpx.Response:
    body = {"sent_at": datetime.now(UTC).isoformat(), "records": [record]}
    return world.call(TokenKind.CREW, "POST", f"/v1/routes/{world.route_id}/records", json=body)


def _stored(superuser: "psycopg.Connection[tuple[object, ...]]") -> int:
    return superuser.execute("SELECT 1 FROM record").rowcount
