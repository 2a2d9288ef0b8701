"""A host whose clock is wrong says so, takes the database's time, and falsifies nothing by its own."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import orjson
import pytest
from sqlalchemy import event

from service.settings import CLOCK_TOLERANCE
from service.storage.session import ClockWatch, clock_offset, is_off, transaction
from service.vocabulary.words import TokenKind
from tests.factories import make_splice
from tests.integration.api.acts import pointers, records_path, refusal
from tests.world import World

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
OFF = [timedelta(hours=-3), -CLOCK_TOLERANCE - timedelta(seconds=5), timedelta(minutes=3), timedelta(days=4000)]
AGREEING = [timedelta(seconds=-110), timedelta(), timedelta(seconds=110)]
SECOND = timedelta(seconds=5)


def shift(world: World, offset: timedelta) -> None:
    world.app.state.clock = lambda: datetime.now(UTC) + offset


def post(world: World, **changes: Any) -> Any:
    """Post a record from a tablet whose clock is right, and return the record as it is kept."""
    record = {**make_splice(), "id": str(uuid4()), **changes}
    [result] = world.post_records([record], sent_at=datetime.now(UTC))["results"]
    assert result["outcome"] == "stored", result
    items = world.ask(CONTRACTOR, "GET", f"{records_path(world)}?limit=500")["items"]
    return next(one for one in items if one["id"] == record["id"])


def since(text: str) -> timedelta:
    return abs(datetime.now(UTC) - datetime.fromisoformat(text))


def audited_at(world: World) -> str:
    with world.engine.connect() as connection:
        newest = "SELECT entry FROM audit_entry ORDER BY sequence DESC LIMIT 1"
        at: str = orjson.loads(connection.exec_driver_sql(newest).scalar_one())["at"]
    return at


def test_a_clock_that_is_off_flags_nobody_and_stamps_nothing(world: World) -> None:
    for offset in OFF:
        shift(world, offset)
        made_at = datetime.now(UTC).isoformat()
        kept = post(world, made_at=made_at)
        assert kept["clock_is_flagged"] is False, offset
        assert since(kept["received_at"]) < SECOND, offset
        assert since(audited_at(world)) < SECOND, offset


def test_a_sender_whose_clock_is_wrong_is_flagged_all_the_same(world: World) -> None:
    for offset in OFF:
        shift(world, offset)
        record = {**make_splice(), "id": str(uuid4())}
        # By the host's own clock this would be right.
        sent_at = max(datetime.now(UTC) + offset, datetime(2016, 1, 1, tzinfo=UTC))
        answer = world.call(
            CREW, "POST", records_path(world), json={"sent_at": sent_at.isoformat(), "records": [record]}
        )
        if sent_at > datetime.now(UTC) + timedelta(days=1):
            assert pointers(refusal(answer, 422)) == ["/sent_at"]
            continue
        items = world.ask(CONTRACTOR, "GET", f"{records_path(world)}?limit=500")["items"]
        assert next(one["clock_is_flagged"] for one in items if one["id"] == record["id"]) is True, offset


def test_while_it_agrees_the_hosts_own_clock_is_what_counts(world: World) -> None:
    for offset in AGREEING:
        shift(world, offset)
        kept = post(world)
        assert abs(since(kept["received_at"]) - abs(offset)) < SECOND, offset
        assert world.http.get("/health/ready").json()["clock"] == "ready"


def test_no_token_ends_and_none_lives_on_by_a_clock_that_is_off(world: World) -> None:
    in_an_hour = (datetime.now(UTC) + timedelta(hours=1)).isoformat()
    ended = (datetime.now(UTC) - timedelta(seconds=1)).isoformat()
    form = {"kind": "crew", "projects": [world.project_id]}
    tokens = [
        world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json={**form, "expires_at": expires_at})["token"]
        for expires_at in (in_an_hour, ended)
    ]
    path = f"/v1/projects/{world.project_id}"
    for offset in OFF:
        shift(world, offset)
        answers = [world.http.get(path, headers={"Authorization": f"Bearer {token}"}) for token in tokens]
        assert [answer.status_code for answer in answers] == [200, 401], offset


def test_readiness_names_the_clock_both_ways_and_is_back_once_it_is_set(world: World) -> None:
    for offset in OFF:
        shift(world, offset)
        answer = world.http.get("/health/ready")
        assert pointers(refusal(answer, 503)) == ["/clock"]
        assert world.http.get("/health/live").is_success
    shift(world, timedelta())
    assert world.http.get("/health/ready").json()["clock"] == "ready"
    assert since(post(world)["received_at"]) < SECOND


@pytest.fixture
def asked(world: World) -> Iterator[list[str]]:
    """What the API asks the database for its time, statement by statement."""
    statements: list[str] = []

    def note(_c: Any, _k: Any, statement: str, *_: Any) -> None:
        if "clock_timestamp" in statement:
            statements.append(statement)

    event.listen(world.app.state.engine, "before_cursor_execute", note)
    yield statements
    event.remove(world.app.state.engine, "before_cursor_execute", note)


def test_the_database_is_asked_for_its_time_now_and_then_and_where_the_clock_was_set(
    world: World, asked: list[str]
) -> None:
    for _ in range(20):
        world.status()
    assert len(asked) <= 1
    shift(world, timedelta(minutes=30))
    world.status()
    for _ in range(20):
        world.status()
    assert len(asked) <= 2


def test_an_offset_is_that_of_the_clock_ahead_of_the_database(world: World) -> None:
    counter_s = [0.0]
    with transaction(world.engine) as session:
        for offset in (*OFF, *AGREEING):
            found = clock_offset(session, lambda offset=offset: datetime.now(UTC) + offset)  # type: ignore[misc]
            assert abs(found - offset) < timedelta(seconds=1)
            assert is_off(found) is (abs(offset) > CLOCK_TOLERANCE)
    now = [datetime.now(UTC)]
    watch = ClockWatch(lambda: now[0], counter=lambda: counter_s[0])
    watch.keep(world.engine)
    first = watch.now()
    assert first == now[0]
    # The clock falls behind by an hour: found at once, not only after half a minute.
    now[0] -= timedelta(hours=1)
    watch.keep(world.engine)
    assert abs(watch.now() - datetime.now(UTC)) < SECOND
