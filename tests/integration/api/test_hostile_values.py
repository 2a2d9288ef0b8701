"""Hostile values anywhere in a body: refused by pointer, never a 5xx, never repeated."""

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import orjson
import pytest

from service.api.openapi import read_examples
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import pointers, refusal
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.posting import SAMPLES
from tests.unit.api.test_document import OPERATIONS, TAKING_JSON
from tests.world import World

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
MARKER = "mark-me-7f3a"


@pytest.fixture(scope="module")
def world(open_world: OpenWorld) -> World:
    return open_world("judged")


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
@pytest.mark.parametrize("name", TAKING_JSON)
def test_what_is_not_json_is_refused(world: World, name: str, content: bytes) -> None:
    method, path, _ = OPERATIONS[name]
    kind = TokenKind(next(iter(read_examples()[name].values()))["as"])
    headers = {"Content-Type": "application/json", "If-Match": '"0"'}
    answer = world.call(kind, method.upper(), _fill(path), content=content, headers=headers)
    refusal(answer, 422 if content == b"" and name != "post_records" else 400)


@pytest.mark.parametrize(
    "content", [b"[]", b"1", b'"x"', b"null", b"{}", b'{"records": 1}', b'{"records": [], "more": 1}']
)
@pytest.mark.parametrize("name", TAKING_JSON)
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
@pytest.mark.parametrize("name", [one for one in TAKING_JSON if one not in {"post_records", "submit", "decide"}])
def test_a_hostile_value_anywhere_in_a_form_never_breaks_the_service(
    world: World, name: str, kind_of_value: str
) -> None:
    kind, method, url, body = _live_body(world, name)
    for path in _leaves(body):
        text = orjson.dumps(_put(body, path, MARKER)).decode().replace(f'"{MARKER}"', HOSTILE[kind_of_value])
        answer = world.call(kind, method, url, content=text, headers={"Content-Type": "application/json"})
        assert answer.status_code < 500, (path, answer.text)
        if kind_of_value in {"NUL", "lone surrogate", "bidirectional", "NaN", "100,000 characters"}:
            assert answer.status_code in {400, 422} or path[0] == "projects", (path, answer.text)


@pytest.mark.parametrize("name", TAKING_JSON)
def test_no_refusal_repeats_a_text_that_was_sent(world: World, name: str) -> None:
    kind, method, url, body = _live_body(world, name)
    for path in _leaves(body):
        headers = {"If-Match": f'"{MARKER}"'}
        answer = world.call(kind, method, url, json=_put(body, path, MARKER), headers=headers)
        if answer.status_code >= 400 or name == "post_records":
            assert MARKER not in answer.text, path


@pytest.mark.parametrize("name", TAKING_JSON)
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


@pytest.mark.parametrize(
    ("name", "body", "pointer"),
    [
        ("propose_criteria", {"version": 2**31 - 1}, "/version"),
        ("withdraw_records", {"records": [str(uuid4())], "reason": "x"}, "/records/0"),
    ],
)
def test_what_a_body_names_and_is_not_there_is_said_by_pointer(
    world: World, name: str, body: dict[str, Any], pointer: str
) -> None:
    kind, method, url, _ = _live_body(world, name)
    assert pointers(refusal(world.call(kind, method, url, json=body), 422)) == [pointer]


def _fill(path: str) -> str:
    for thing in ("project_id", "route_id", "package_id", "record_id", "submission_id"):
        path = path.replace(f"{{{thing}}}", str(uuid4()))
    return path.replace("{person_id}", "p-1")
