"""Bad requests and faults of the service's own end as problems that say what is wrong."""

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service.settings import MAX_BATCH, MAX_BODY_BYTES
from service.storage.session import make_engine, transaction
from service.storage.tables import Project
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import records_path, refusal
from tests.integration.api.conftest import OpenWorld
from tests.unit.api.test_document import OPERATIONS, TAKING_JSON
from tests.world import World

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
MARKER = "mark-me-7f3a"


@pytest.fixture(scope="module")
def world(open_world: OpenWorld) -> World:
    return open_world("judged")


def post(world: World, content: Any, **headers: str) -> httpx.Response:
    headers = {"Content-Type": "application/json", **headers}
    return world.call(CREW, "POST", records_path(world), content=content, headers=headers)


@pytest.mark.parametrize("method", ["GET", "POST", "DELETE"])
def test_an_unknown_path_is_not_found(world: World, method: str) -> None:
    refusal(world.http.request(method, "/v1/nothing"), 404)


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("PATCH", "/v1/routes/{route_id}/design", "GET, PUT"),
        ("DELETE", "/v1/routes/{route_id}/records", "GET, POST"),
        ("GET", "/v1/projects", "POST"),
        ("TRACE", "/health/live", "GET"),
        ("POST", "/v1/projects/{project_id}/people/p-1", "DELETE, PUT"),
    ],
)
def test_a_wrong_method_is_told_the_right_ones(world: World, method: str, path: str, allowed: str) -> None:
    answer = world.http.request(method, path.format(route_id=world.route_id, project_id=world.project_id))
    refusal(answer, 405)
    assert answer.headers["allow"] == allowed


@pytest.mark.parametrize("path", ["acceptance", "findings", "records", "worklist", "design", "fibres/1"])
def test_an_unknown_query_parameter_is_refused(world: World, path: str) -> None:
    refusal(world.call(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/{path}?colour={MARKER}"), 400)


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=501", "limit=1000000000", "limit=x", "cursor=%00", "cursor=%C3%A9", "limit=1&limit=x"]
)
@pytest.mark.parametrize("path", ["findings", "records"])
def test_a_wrong_query_parameter_is_refused(world: World, path: str, query: str) -> None:
    refusal(world.call(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/{path}?{query}"), 400)


@pytest.mark.parametrize("query", ["segment=a%0D%0AX-Evil:%201", "segment=%E4%B8%AD", "segment=", "outcome=perfect"])
def test_a_wrong_filter_is_refused(world: World, query: str) -> None:
    refusal(world.call(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/findings?limit=1&{query}"), 400)


@pytest.mark.parametrize("after", ["-1", "x", "9" * 30, str(2**53)])
def test_a_wrong_place_in_the_feed_is_refused(world: World, after: str) -> None:
    refusal(world.call(BILLING, "GET", f"/v1/projects/{world.project_id}/notices?after={after}"), 400)


@pytest.mark.parametrize("name", TAKING_JSON)
@pytest.mark.parametrize(
    "content_type",
    ["text/plain", "application/x-www-form-urlencoded", "application/xml", "application/problem+json", ""],
)
def test_another_content_type_is_not_taken(world: World, name: str, content_type: str) -> None:
    method, path, _ = OPERATIONS[name]
    headers = {"Content-Type": content_type} if content_type else {}
    answer = world.call(CREW, method.upper(), _fill(path), content=b"{}", headers=headers)
    refusal(answer, 415)


@pytest.mark.parametrize("coding", ["gzip", "deflate", "br", "identity"])
def test_a_coded_body_is_not_taken(world: World, coding: str) -> None:
    answer = post(world, b"\x1f\x8b", **{"Content-Encoding": coding})
    refusal(answer, 415)
    assert answer.headers["accept-encoding"] == "identity"


@pytest.mark.parametrize("size", [MAX_BODY_BYTES, MAX_BODY_BYTES + 1])
@pytest.mark.parametrize("is_chunked", [False, True])
def test_a_body_of_the_limit_is_read_and_one_byte_more_is_not(world: World, size: int, is_chunked: bool) -> None:
    body = b'{"a":1}'.ljust(size)

    def chunks() -> Iterator[bytes]:
        yield body[: size // 2]
        yield body[size // 2 :]

    answer = post(world, chunks() if is_chunked else body)
    refusal(answer, 422 if size <= MAX_BODY_BYTES else 413)


@pytest.mark.parametrize(("count", "status"), [(0, 422), (1, 207), (MAX_BATCH, 207), (MAX_BATCH + 1, 413)])
def test_a_batch_holds_1_to_500_records(world: World, count: int, status: int) -> None:
    body = {"sent_at": "2026-03-12T10:40:00Z", "records": [{}] * count}
    answer = world.call(CREW, "POST", records_path(world), json=body)
    assert answer.status_code == status
    if status == 207:
        assert answer.json()["failed"] == count


def test_a_fault_of_the_service_s_own_says_nothing_of_its_inside(
    fresh_world: OpenWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = fresh_world("bound")

    def fail(*_: Any) -> None:
        raise RuntimeError(MARKER)

    monkeypatch.setattr("service.api.acceptance.status.status_of", fail)
    answer = world.call(CREW, "GET", f"/v1/routes/{world.route_id}/acceptance")
    assert refusal(answer, 500)["detail"] == "Server got itself in trouble"
    assert MARKER not in answer.text


def test_the_same_project_opened_by_two_at_once_is_asked_for_again(fresh_world: OpenWorld) -> None:
    world = fresh_world("bound")
    form = {"code": "TWICE-1", "name": "Twice", "owner": "Owner", "contractor": "Contractor"}
    with ThreadPoolExecutor(1) as pool:
        with transaction(world.engine) as session:
            session.add(Project(id=uuid4(), created_at=world.context.clock(), **form))
            session.flush()
            second = pool.submit(world.call, ADMINISTRATOR, "POST", "/v1/projects", json=form)
            _wait_for_a_lock(world)
        answer = second.result()
    refusal(answer, 503)
    assert answer.headers["retry-after"] == "2"
    assert world.call(ADMINISTRATOR, "POST", "/v1/projects", json=form).status_code == 200


def _wait_for_a_lock(world: World) -> None:
    for _ in range(200):
        with world.engine.connect() as connection:
            waiting = connection.exec_driver_sql(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
            ).scalar_one()
        if waiting:
            return
        time.sleep(0.02)
    raise AssertionError("nobody waits for a lock")


def test_a_service_without_its_database_asks_for_patience(fresh_world: OpenWorld) -> None:
    world = fresh_world("bound")
    there = world.app.state.engine
    world.app.state.engine = make_engine("postgresql+psycopg://nobody@127.0.0.1:1/nothing")
    try:
        for path in ("/health/ready", f"/v1/routes/{world.route_id}"):
            answer = world.call(CREW, "GET", path)
            refusal(answer, 503)
            assert answer.headers["retry-after"] == "2"
        assert world.http.get("/health/live").is_success
    finally:
        world.app.state.engine = there


def _fill(path: str) -> str:
    for thing in ("project_id", "route_id", "package_id", "record_id", "submission_id"):
        path = path.replace(f"{{{thing}}}", str(uuid4()))
    return path.replace("{person_id}", "p-1")
