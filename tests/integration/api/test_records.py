"""Records: a batch may be sent again whole, each record stands by itself, and what ends keeps its reason."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import orjson
import pytest

from service.settings import CLOCK_TOLERANCE
from service.vocabulary.words import TokenKind
from tests.bodies.routes import on_other_cable
from tests.integration.api.acts import pointers, records_path, refusal
from tests.integration.api.conftest import OpenWorld
from tests.world import World, describe_route, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
SPLICES = [one for one in read_demo("01_splicing")["records"] if one["kind"] == "splice"]
TRACES = [one for one in read_demo("04_otdr")["records"] if one["kind"] == "otdr"]
LOSSES = read_demo("05_attenuation")["records"]
LID = read_demo("03_sealing")["records"][0]


@pytest.fixture(scope="module")
def world(open_world: OpenWorld) -> World:
    return open_world("bound")


def anew(record: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return {**record, "id": str(uuid4()), **changes}


def outcomes(answer: Any) -> list[str]:
    return [one["outcome"] for one in answer["results"]]


def state_of(world: World) -> tuple[Any, ...]:
    """Return everything that a request without effect must leave alone."""
    with world.engine.connect() as connection:
        ask = connection.exec_driver_sql
        return (
            ask("SELECT version FROM route ORDER BY id").all(),
            ask("SELECT audit_sequence, audit_hash FROM project_head").all(),
            ask("SELECT id, state, fence FROM job ORDER BY id").all(),
            ask("SELECT number, evidence_version, judged_version FROM fibre ORDER BY number").all(),
            ask("SELECT count(*) FROM record").scalar_one(),
        )


def test_the_same_batch_twice_changes_nothing(world: World) -> None:
    batch = [anew(SPLICES[0]), anew(LID), anew(TRACES[0]), anew(LOSSES[0])]
    assert outcomes(world.post_records(batch)) == ["stored"] * 4
    before = state_of(world)
    again = world.post_records(batch)
    assert (outcomes(again), again["failed"]) == (["already_stored"] * 4, 0)
    assert [one["status"] for one in again["results"]] == [200] * 4
    assert state_of(world) == before


def test_the_same_content_written_otherwise_is_the_same_record(world: World) -> None:
    record = anew(SPLICES[0], made_at="2026-03-02T09:00:00+01:00")
    written = {name: record[name] for name in reversed(record)} | {"made_at": "2026-03-02T08:00:00.000Z"}
    assert outcomes(world.post_records([record, written])) == ["stored", "already_stored"]


def test_other_content_under_a_known_id_is_a_conflict_and_changes_nothing(world: World) -> None:
    record = anew(SPLICES[0])
    world.post_records([record])
    before = state_of(world)
    [result] = world.post_records([{**record, "attempt": 2}])["results"]
    assert (result["outcome"], result["status"], result["problem"]["status"]) == ("conflict", 409, 409)
    assert state_of(world) == before


def test_records_of_one_id_in_one_batch_are_taken_in_order(world: World) -> None:
    record = anew(SPLICES[0])
    answer = world.post_records([record, {**record, "attempt": 2}, record])
    assert outcomes(answer) == ["stored", "conflict", "already_stored"]


def test_bad_records_cost_the_others_nothing_and_answers_keep_their_order(world: World) -> None:
    batch = [anew(splice) for splice in SPLICES[:20]]
    for index in (3, 11, 19):
        batch[index] = {**batch[index], "site": "nowhere"}
    answer = world.post_records(batch)
    assert [one["id"] for one in answer["results"]] == [one["id"] for one in batch]
    assert [index for index, one in enumerate(outcomes(answer)) if one == "refused"] == [3, 11, 19]
    assert answer["failed"] == 3
    before = state_of(world)
    again = world.post_records(batch)
    assert [index for index, one in enumerate(outcomes(again)) if one == "refused"] == [3, 11, 19]
    assert set(outcomes(again)) == {"already_stored", "refused"}
    assert state_of(world) == before


BAD: list[tuple[str, dict[str, Any], str, Any]] = [
    ("fibre beyond the count", TRACES[0], "/fibre", 25),
    ("fibre 0", TRACES[0], "/fibre", 0),
    ("spliced fibre beyond the count", SPLICES[0], "/joints/0/fibre", 25),
    ("unknown site", SPLICES[0], "/site", "nowhere"),
    ("unknown end", TRACES[0], "/to_site", "nowhere"),
    ("both ends at one place", TRACES[0], "/to_site", TRACES[0]["from_site"]),
    ("a lid where there is none", LID, "/site", "A"),
    ("positive reflectance", TRACES[0], "/events/0/reflectance_db", 0.001),
    ("negative return loss", TRACES[0], "/total_return_loss", {"return_loss_db": -0.001, "from_m": 0.0, "to_m": 1.0}),
    ("in the future", TRACES[0], "/made_at", "2999-01-01T00:00:00Z"),
    ("no offset", TRACES[0], "/made_at", "2026-03-02T08:00:00"),
    ("seconds since 1970", TRACES[0], "/made_at", 1_764_000_000),
    ("a day as a time", TRACES[0], "/made_at", "2026-03-02"),
    ("text for a number", LOSSES[0], "/loss_db", "0.1"),
    ("true for a number", LOSSES[0], "/loss_db", True),
    ("true for a count", LOSSES[0], "/fibre", True),
    ("a fraction for a count", LOSSES[0], "/fibre", 1.5),
    ("null for a number", LOSSES[0], "/loss_db", None),
    ("too many decimals", LOSSES[0], "/loss_db", 0.1234),
    ("above the range", LOSSES[0], "/loss_db", 60.001),
    ("below the range", LOSSES[0], "/loss_db", -60.001),
    ("NUL", LOSSES[0], "/operator", "a\x00b"),
    ("zero width", SPLICES[0], "/splice_mode", "a\u200bb"),
    ("bidirectional", SPLICES[0], "/splice_mode", "a\u202eb"),
    ("NUL in a text", SPLICES[0], "/splice_mode", "a\x00b"),
    ("line feed in an id", LOSSES[0], "/operator", "p-1\n"),
    ("an id that is none", LOSSES[0], "/id", "not-a-uuid"),
    ("unknown kind", LOSSES[0], "/kind", "guess"),
    ("no kind", {name: value for name, value in LOSSES[0].items() if name != "kind"}, "/kind", ...),
    ("unknown member", LOSSES[0], "/received_at", "2026-03-02T08:00:00Z"),
    ("text too long", SPLICES[0], "/splice_mode", "x" * 501),
]
RAW = {"NaN": "NaN", "Infinity": "Infinity", "-Infinity": "-Infinity", "1e999": "1e999", "5000 digits": "9" * 5000}


def _with(record: dict[str, Any], pointer: str, value: Any) -> dict[str, Any]:
    changed = orjson.loads(orjson.dumps(anew(record)))
    *path, last = [int(step) if step.isdigit() else step for step in pointer[1:].split("/")]
    place = changed
    for step in path:
        place = place[step]
    if value is not ...:
        place[last] = value
    return changed  # type: ignore[no-any-return]


def _stored_pointers(answer: Any) -> Iterator[str]:
    good, bad = answer["results"]
    assert (good["outcome"], bad["outcome"]) == ("stored", "refused")
    yield from pointers(bad["problem"])


@pytest.mark.parametrize(("record", "pointer", "value"), [case[1:] for case in BAD], ids=[case[0] for case in BAD])
def test_a_record_that_can_not_be_is_refused_by_name(
    world: World, record: dict[str, Any], pointer: str, value: Any
) -> None:
    answer = world.post_records([anew(SPLICES[0]), _with(record, pointer, value)])
    assert {found.startswith(pointer) for found in _stored_pointers(answer)} == {True}


@pytest.mark.parametrize("pointer", ["/loss_db", "/fibre"])
@pytest.mark.parametrize("number", RAW.values(), ids=RAW)
def test_a_number_that_is_none_costs_its_record_and_no_other(world: World, number: str, pointer: str) -> None:
    records = [anew(SPLICES[0]), _with(LOSSES[0], pointer, "HERE")]
    text = orjson.dumps({"sent_at": datetime.now(UTC), "records": records}).decode().replace('"HERE"', number)
    assert list(_stored_pointers(_post_text(world, text))) == [pointer]


def test_half_a_surrogate_costs_its_record_and_no_other(world: World) -> None:
    records = [anew(SPLICES[0]), anew(SPLICES[1], splice_mode="HERE")]
    text = orjson.dumps({"sent_at": datetime.now(UTC), "records": records}).decode().replace("HERE", "\\ud800")
    assert list(_stored_pointers(_post_text(world, text))) == ["/splice_mode"]


def _post_text(world: World, text: str) -> Any:
    headers = {"Content-Type": "application/json"}
    return world.ask(CREW, "POST", records_path(world), content=text, headers=headers)


@pytest.mark.parametrize("item", [None, 1, "x", [], {}, [[]], True])
def test_an_item_that_is_no_record_is_refused(world: World, item: Any) -> None:
    good, bad = world.post_records([anew(SPLICES[0]), item])["results"]
    assert (good["outcome"], bad["outcome"], bad["id"]) == ("stored", "refused", None)


@pytest.mark.parametrize("sent_at", ["2026-03-12T10:40:00", "yesterday", 1_764_000_000, None])
def test_a_batch_says_when_it_was_sent_with_an_offset(world: World, sent_at: Any) -> None:
    answer = world.call(CREW, "POST", records_path(world), json={"sent_at": sent_at, "records": [{}]})
    assert pointers(refusal(answer, 422)) == ["/sent_at"]


@pytest.mark.parametrize(
    ("skew", "is_flagged"),
    [
        (CLOCK_TOLERANCE, False),
        (-CLOCK_TOLERANCE, False),
        (CLOCK_TOLERANCE + timedelta(microseconds=1), True),
        (-CLOCK_TOLERANCE - timedelta(microseconds=1), True),
        (timedelta(days=400), True),
    ],
)
def test_a_clock_more_than_two_minutes_off_is_flagged(
    fresh_world: OpenWorld, skew: timedelta, is_flagged: bool
) -> None:
    world = fresh_world("bound")
    at = datetime.now(UTC)
    world.app.state.clock = lambda: at
    assert outcomes(world.post_records([anew(SPLICES[0])], sent_at=at - skew)) == ["stored"]
    [kept] = world.ask(CONTRACTOR, "GET", records_path(world))["items"]
    assert kept["clock_is_flagged"] is is_flagged


@pytest.mark.parametrize(("ahead", "outcome"), [(0, "stored"), (1, "refused")])
def test_a_time_in_the_future_is_refused_beyond_the_clocks_tolerance(world: World, ahead: int, outcome: str) -> None:
    at = datetime.now(UTC)
    world.app.state.clock = lambda: at
    made_at = at + CLOCK_TOLERANCE + timedelta(microseconds=ahead)
    assert outcomes(world.post_records([anew(SPLICES[0], made_at=made_at.isoformat())])) == [outcome]


def test_a_record_of_another_route_is_a_conflict_unless_its_lid_is_on_both(fresh_world: OpenWorld) -> None:
    world = fresh_world("bound")
    first = world.route_id
    describe_route(world, design=on_other_cable(read_demo("route"), "OT-08"), criteria=read_demo("criteria"))
    splice, lid = anew(SPLICES[0]), anew(LID)
    assert outcomes(world.post_records([splice, lid])) == ["stored", "stored"]
    world.route_id = first
    assert outcomes(world.post_records([splice, lid])) == ["conflict", "already_stored"]
