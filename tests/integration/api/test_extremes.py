"""Whatever is posted, nothing breaks; and what was taken is read, judged, withdrawn and replaced like anything else.

EXTREMES=1000 tries more of them.
"""

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import orjson
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.api.openapi import read_examples
from service.vocabulary.words import TokenKind
from tests.extremes import INSTANTS, Extremes, put
from tests.integration.api.acts import records_path
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.posting import perform
from tests.record_kinds import MAKE
from tests.unit.api.test_document import DOCUMENT, OPERATIONS, TAKING_JSON
from tests.world import World

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
SCHEMAS = DOCUMENT["components"]["schemas"]
EXTREMES = Extremes(SCHEMAS)
KINDS = {kind: EXTREMES.resolve({"$ref": ref}) for kind, ref in SCHEMAS["Record"]["discriminator"]["mapping"].items()}
ASKED = "EXTREMES" in os.environ
ROUNDS = int(os.environ.get("EXTREMES", "20"))
# The same draws each time, unless more are asked for.
TRIES = settings(
    max_examples=ROUNDS,
    derandomize=not ASKED,
    database=None,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)


@pytest.fixture(scope="module")
def world(open_world: OpenWorld) -> World:
    return open_world("decided")


def _kind_of(kind: str) -> st.SearchStrategy[dict[str, Any]]:
    changed = EXTREMES.changed(MAKE[kind](), KINDS[kind])
    # Most get an id of their own: else all of a kind would be one record.
    own_id = st.booleans().flatmap(lambda keeps: st.just(None) if keeps else st.uuids(version=4).map(str))
    return st.tuples(changed, own_id).map(lambda pair: pair[0] if pair[1] is None else {**pair[0], "id": pair[1]})


RECORDS = st.sampled_from(sorted(KINDS)).flatmap(_kind_of)


def test_the_factories_make_every_kind() -> None:
    assert set(MAKE) == set(KINDS)


@TRIES
@given(batch=st.lists(RECORDS, min_size=1, max_size=40))
def test_whatever_is_posted_each_record_is_stored_or_refused_and_what_is_stored_is_read(
    world: World, batch: list[Any]
) -> None:
    answer = post(world, batch)
    stored = {one["id"] for one in answer["results"] if one["outcome"] == "stored"}
    assert {one["outcome"] for one in answer["results"]} <= {"stored", "already_stored", "conflict", "refused"}
    assert {one["outcome"] for one in post(world, batch)["results"]}.isdisjoint({"stored"})
    assert stored <= {one["id"] for one in kept_records(world)}


def test_every_time_of_every_kind_at_its_extremes_costs_its_record_and_no_other(world: World) -> None:
    bad, good = [], []
    for kind, schema in KINDS.items():
        for path, leaf in EXTREMES.leaves(schema):
            if leaf.get("format") in {"date", "date-time"}:
                values = INSTANTS if leaf["format"] == "date-time" else [text[:10] for text in INSTANTS]
                bad += [put({**MAKE[kind](), "id": str(uuid4())}, path, value) for value in values]
                good.append({**MAKE[kind](), "id": str(uuid4())})
    assert len(bad) > 400
    results = [one for start in range(0, len(bad), 400) for one in post(world, bad[start : start + 400])["results"]]
    stored = {one["id"] for one in results if one["outcome"] == "stored"}
    assert {one["outcome"] for one in results} == {"stored", "refused"}
    mixed = [record for pair in zip(bad, good, strict=False) for record in pair]
    assert [one["status"] for one in post(world, mixed)["results"]][1::2] == [201] * len(good)
    assert stored <= {one["id"] for one in kept_records(world)}


@pytest.mark.parametrize("name", [name for name in TAKING_JSON if name not in {"post_records", "decide"}])
def test_whatever_a_form_says_it_is_taken_or_refused(world: World, name: str) -> None:
    method, path, operation = OPERATIONS[name]
    example = next(dict(one) for one in read_examples()[name].values() if one["status"] < 400)
    schema = operation["requestBody"]["content"]["application/json"]["schema"]

    @TRIES
    @given(body=EXTREMES.changed(example["body"], schema))
    def try_it(body: Any) -> None:
        answer = perform(world, method.upper(), path, example | {"body": body})
        assert answer.status_code < 500, answer.text

    try_it()


def test_then_all_of_it_is_judged_and_read_withdrawn_and_replaced(world: World) -> None:
    world.drain()
    for name, example in readings():
        method, path, _ = OPERATIONS[name]
        answer = perform(world, method.upper(), path, example)
        assert answer.status_code == example["status"], (name, answer.text)
    for number in range(1, 25):
        world.ask(CREW, "GET", f"/v1/routes/{world.route_id}/fibres/{number}")
    assert world.status()["judging_problem"] is None
    kept = [one for one in kept_records(world) if not one["is_ended"]]
    assert len(kept) > 200
    for one in kept[:20]:
        record = MAKE[one["record"]["kind"]]() | {"id": str(uuid4())}
        form = {"reason": "x", "sent_at": datetime.now(UTC).isoformat(), "record": record}
        world.ask(CONTRACTOR, "POST", f"{records_path(world)}/{one['id']}/replacement", json=form)
    ids = [one["id"] for one in kept[20:]]
    for start in range(0, len(ids), 500):
        form = {"records": ids[start : start + 500], "reason": "x"}
        world.ask(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=form)
    world.drain()
    assert world.status()["judging_problem"] is None
    assert all(one["is_ended"] for one in kept_records(world) if one["id"] in ids)


def readings() -> Iterator[tuple[str, dict[str, Any]]]:
    """Give a good example of every operation that reads."""
    for name, (method, _, _) in OPERATIONS.items():
        if method == "get":
            yield name, next(dict(one) for one in read_examples()[name].values() if one["status"] < 300)


def post(world: World, records: list[Any]) -> Any:
    body = orjson.dumps({"sent_at": datetime.now(UTC), "records": records})
    headers = {"Content-Type": "application/json"}
    return world.ask(CREW, "POST", records_path(world), content=body, headers=headers)


def kept_records(world: World) -> list[Any]:
    found: list[Any] = []
    cursor: str | None = ""
    while cursor is not None:
        page = world.ask(CONTRACTOR, "GET", f"{records_path(world)}?limit=500{cursor and f'&cursor={cursor}'}")
        found += page["items"]
        cursor = page["next"]
    return found
