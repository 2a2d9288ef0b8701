"""Bad requests end as problems that say what is wrong, never as 5xx, and never repeat what was sent."""

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import httpx
import orjson
import pytest

from service.api.examples import read_examples
from service.settings import MAX_BATCH, MAX_BODY_BYTES
from service.storage.session import transaction
from service.storage.tables import Project
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import pointers, records_path, refusal
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.posting import SAMPLES, perform
from tests.unit.api.test_document import OPERATIONS
from tests.world import World

pytestmark = pytest.mark.slow
CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
MARKER = "mark-me-7f3a"
WRITING = [name for name, (method, _, _) in OPERATIONS.items() if method in {"post", "put"}]


@pytest.fixture(scope="module")
def world(open_world: OpenWorld) -> World:
    return open_world("issued")


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


@pytest.mark.parametrize("name", WRITING)
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


UNREADABLE = {
    "empty": b"",
    "text": b"hello",
    "cut": b'{"a": ',
    "two values": b"{} {}",
    "not UTF-8": b'{"a": "\xff"}',
    "deep lists": b"[" * 10_000,
    "closed deep lists": b"[" * 10_000 + b"]" * 10_000,
    "deep objects": b'{"a":' * 10_000 + b"1" + b"}" * 10_000,
}


@pytest.mark.parametrize("content", UNREADABLE.values(), ids=UNREADABLE)
@pytest.mark.parametrize("name", WRITING)
def test_what_is_not_json_is_refused(world: World, name: str, content: bytes) -> None:
    method, path, _ = OPERATIONS[name]
    kind = TokenKind(next(iter(read_examples()[name].values()))["as"])
    headers = {"Content-Type": "application/json", "If-Match": '"0"'}
    answer = world.call(kind, method.upper(), _fill(path), content=content, headers=headers)
    refusal(answer, 422 if content == b"" and name != "post_records" else 400)


@pytest.mark.parametrize(
    "content", [b"[]", b"1", b'"x"', b"null", b"{}", b'{"records": 1}', b'{"records": [], "more": 1}']
)
@pytest.mark.parametrize("name", WRITING)
def test_json_of_another_form_is_refused_by_pointer(world: World, name: str, content: bytes) -> None:
    method, path, _ = OPERATIONS[name]
    kind = TokenKind(next(iter(read_examples()[name].values()))["as"])
    headers = {"Content-Type": "application/json", "If-Match": '"0"'}
    problem = refusal(world.call(kind, method.upper(), _fill(path), content=content, headers=headers), 422)
    assert problem["errors"]


HOSTILE = {
    "NUL": '"a\\u0000b"',
    "lone surrogate": '"\\ud800"',
    "zero width": '"a\\u200bb"',
    "bidirectional": '"a\\u202eb"',
    "control": '"a\\u0007b"',
    "NaN": "NaN",
    "infinity": "-Infinity",
    "1e999": "1e999",
    "5000 digits": "9" * 5000,
    "number": "1",
    "true": "true",
    "list": "[[]]",
    "object": "{}",
    "100,000 characters": f'"{"x" * 100_000}"',
}


def _leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Return where the texts and numbers of a body are; of a long list the first item stands for all."""
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _leaves(one, (*path, name))
    elif isinstance(value, list):
        for index, one in enumerate(value[:1]):
            yield from _leaves(one, (*path, index))
    else:
        yield path


def _put(body: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    changed = body.copy()
    changed[path[0]] = _put(body[path[0]], path[1:], value)
    return changed


def _live_body(world: World, name: str) -> tuple[TokenKind, str, str, dict[str, Any]]:
    method, path, _ = OPERATIONS[name]
    example = next(one for one in read_examples()[name].values() if one["status"] < 400)
    url = path
    for thing, value in {**SAMPLES, **example.get("path", {})}.items():
        url = url.replace(f"{{{thing}}}", str(value))
    for thing in ("project_id", "route_id"):
        url = url.replace(SAMPLES[thing], getattr(world, thing))
    return TokenKind(example["as"]), method.upper(), url, example["body"]


@pytest.mark.parametrize("kind_of_value", HOSTILE)
@pytest.mark.parametrize("name", [one for one in WRITING if one not in {"post_records", "submit", "decide"}])
def test_a_hostile_value_anywhere_in_a_form_never_breaks_the_service(
    world: World, name: str, kind_of_value: str
) -> None:
    kind, method, url, body = _live_body(world, name)
    for path in _leaves(body):
        text = orjson.dumps(_put(body, path, MARKER)).decode().replace(f'"{MARKER}"', HOSTILE[kind_of_value])
        answer = world.call(kind, method, url, content=text, headers={"Content-Type": "application/json"})
        assert answer.status_code < 500, (path, answer.text)
        if kind_of_value in {"NUL", "lone surrogate", "bidirectional", "NaN", "100,000 characters"}:
            assert answer.status_code in {400, 422} or path[0] in {"projects"}, (path, answer.text)


@pytest.mark.parametrize("name", WRITING)
def test_no_refusal_repeats_a_text_that_was_sent(world: World, name: str) -> None:
    kind, method, url, body = _live_body(world, name)
    for path in _leaves(body):
        headers = {"If-Match": f'"{MARKER}"'}
        answer = world.call(kind, method, url, json=_put(body, path, MARKER), headers=headers)
        if answer.status_code >= 400 or name == "post_records":
            assert MARKER not in answer.text, path


@pytest.mark.parametrize("name", WRITING)
def test_a_member_that_nobody_knows_is_refused_by_its_name(world: World, name: str) -> None:
    kind, method, url, body = _live_body(world, name)
    answer = world.call(kind, method, url, json={**body, "status": "accepted"}, headers={"If-Match": '"0"'})
    assert pointers(refusal(answer, 422)) == ["/status"]


@pytest.mark.parametrize("member", ["\ud800", "a b", "<script>", "x" * 100, "é", ""])
def test_a_member_whose_name_is_no_name_is_refused_and_not_repeated(world: World, member: str) -> None:
    text = orjson.dumps({"version": 1, "other": 1}).decode()
    escaped = "\\ud800" if member == "\ud800" else member
    answer = world.call(
        ENGINEER,
        "PUT",
        f"/v1/routes/{world.route_id}/criteria",
        content=text.replace("other", escaped).encode(),
        headers={"Content-Type": "application/json"},
    )
    assert pointers(refusal(answer, 422)) == [""]


def test_a_body_of_nothing_but_faults_gets_a_short_answer(world: World) -> None:
    body = {f"m{number}": 1 for number in range(100_000)}
    answer = world.call(ADMINISTRATOR, "POST", "/v1/projects", json=body)
    assert len(refusal(answer, 422)["errors"]) == 100


@pytest.mark.parametrize("name", [one for one, (_, path, _) in OPERATIONS.items() if "{" in path])
def test_what_a_body_names_and_is_not_there_is_said_by_pointer(world: World, name: str) -> None:
    unknown = {
        "propose_criteria": ({"version": 7}, "/version"),
        "withdraw_records": ({"records": [str(uuid4())], "reason": "x"}, "/records/0"),
    }
    if name not in unknown:
        assert name not in {"issue_token"}
        return
    body, pointer = unknown[name]
    kind, method, url, _ = _live_body(world, name)
    assert pointers(refusal(world.call(kind, method, url, json=body), 422)) == [pointer]


def test_a_fault_of_the_service_s_own_says_nothing_of_its_inside(
    fresh_world: OpenWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = fresh_world("bound")

    def fail(*_: Any) -> None:
        raise RuntimeError(MARKER)

    monkeypatch.setattr("service.api.status.status_of", fail)
    answer = world.call(CREW, "GET", f"/v1/routes/{world.route_id}/acceptance")
    assert refusal(answer, 500)["detail"] == "Server got itself in trouble"
    assert MARKER not in answer.text


def test_the_same_project_opened_by_two_at_once_is_asked_for_again(fresh_world: OpenWorld) -> None:
    from concurrent.futures import ThreadPoolExecutor

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
    import time

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
    from service.storage.session import make_engine

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
