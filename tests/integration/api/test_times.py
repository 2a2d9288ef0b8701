"""Times at the door: bounded in every field, and whatever an earlier release kept is still read."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import orjson
import pytest

from service.settings import CLOCK_TOLERANCE
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.conftest import Servers
from tests.factories import Body, make_attenuation, make_calibration, make_otdr, make_splice
from tests.integration.api.acts import pointers, records_path, refusal
from tests.world import World

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
NEVER = {
    "year 1, a positive offset": "0001-01-01T00:00:00+14:00",
    "year 1": "0001-01-01T00:00:00Z",
    "year 1, the widest offset": "0001-01-01T00:00:00+23:59",
    "year 9999, a negative offset": "9999-12-31T23:59:59.999999999-23:59",
    "year 9999": "9999-12-31T23:59:59Z",
    "before the first day": "1999-12-31T23:59:59.999999Z",
    "before the first day by its offset": "2000-01-01T00:59:59+01:00",
    "after the last day": "2101-01-01T00:00:00Z",
    "leap second": "2016-12-31T23:59:60Z",
    "year 0": "0000-01-01T00:00:00Z",
    "no such minute of an offset": "2020-01-01T00:00:00+14:60",
    "no such day": "2023-02-29T00:00:00Z",
    "hour 24": "2020-01-01T24:00:00Z",
}
TIMES: list[tuple[Callable[..., Body], str]] = [
    (make_splice, "made_at"),
    (make_otdr, "instrument_time"),
    (make_attenuation, "referenced_at"),
]
DAYS = ["0001-01-01", "1999-12-31", "2101-01-01", "9999-12-31", "0000-00-00"]


def anew(body: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return {**body, "id": str(uuid4()), **changes}


def refused_pointers(world: World, bad: dict[str, Any]) -> list[str]:
    """Post a record between two good ones, which are stored, and return where it is refused."""
    first, refused, last = world.post_records([anew(make_splice()), bad, anew(make_splice())])["results"]
    assert [one["outcome"] for one in (first, refused, last)] == ["stored", "refused", "stored"]
    return pointers(refused["problem"])


def test_a_time_out_of_bounds_costs_its_record_and_no_other(world: World) -> None:
    for make, member in TIMES:
        for name, text in NEVER.items():
            assert refused_pointers(world, anew(make(), **{member: text})) == [f"/{member}"], name


def test_a_day_out_of_bounds_costs_its_record_and_no_other(world: World) -> None:
    for day in DAYS:
        assert refused_pointers(world, anew(make_otdr(), calibrated_until=day)) == ["/calibrated_until"]
        meter = {"serial": "PM-1", "calibrated_until": day}
        assert refused_pointers(world, anew(make_attenuation(), meter=meter)) == ["/meter/calibrated_until"]
        assert refused_pointers(world, anew(make_splice(), certified_until=day)) == ["/certified_until"]


def test_the_first_and_the_last_day_are_taken(world: World) -> None:
    records = [
        make_calibration(made_at="2000-01-01T00:00:00Z"),
        make_splice(made_at="2000-01-01T23:59:00+23:59", certified_until="2000-01-01"),
        make_otdr(calibrated_until="2100-12-31", instrument_time="2000-01-01T00:00:00.000000001Z"),
    ]
    assert [one["outcome"] for one in world.post_records(records)["results"]] == ["stored"] * 3
    assert len(world.ask(CONTRACTOR, "GET", records_path(world))["items"]) == 3


def test_every_way_to_write_a_time_is_taken(world: World) -> None:
    for written in ("2020-01-01T00:00:00-00:00", "2020-01-01t00:00:00.123456789z", "2020-01-01 00:00:00+23:59"):
        [result] = world.post_records([anew(make_splice(), made_at=written)])["results"]
        assert result["outcome"] == "stored", written


def test_what_happened_lies_two_minutes_ahead_at_most_and_what_a_clock_said_a_day(world: World) -> None:
    at = datetime.now(UTC)
    world.app.state.clock = lambda: at
    for make, member in TIMES:
        most = timedelta(days=1) if member == "instrument_time" else CLOCK_TOLERANCE
        [taken] = world.post_records([anew(make(), **{member: (at + most).isoformat()})], sent_at=at)["results"]
        assert taken["outcome"] == "stored", member
        beyond = (at + most + timedelta(microseconds=1)).isoformat()
        assert refused_pointers(world, anew(make(), **{member: beyond})) == [f"/{member}"]


def test_a_batch_and_a_replacement_say_by_a_possible_clock_when_they_were_sent(world: World) -> None:
    record = anew(make_splice())
    world.post_records([record])
    for name, text in {**NEVER, "years ahead": "2100-12-31T23:59:59Z"}.items():
        body = {"sent_at": text, "records": [anew(record)]}
        answer = world.call(CREW, "POST", records_path(world), json=body)
        assert pointers(refusal(answer, 422)) == ["/sent_at"], name
        form = {"reason": "x", "sent_at": text, "record": anew(record)}
        answer = world.call(CREW, "POST", f"{records_path(world)}/{record['id']}/replacement", json=form)
        assert pointers(refusal(answer, 422)) == ["/sent_at"], name
    assert _read(world) == {record["id"]}


def test_a_sender_whose_clock_is_ahead_is_heard_and_flagged(world: World) -> None:
    for ahead in (timedelta(minutes=10), timedelta(hours=14)):
        [result] = world.post_records([anew(make_splice())], sent_at=datetime.now(UTC) + ahead)["results"]
        assert result["outcome"] == "stored"
    items = world.ask(CONTRACTOR, "GET", records_path(world))["items"]
    assert [kept["clock_is_flagged"] for kept in items] == [True, True]


def test_a_token_ends_at_a_time_that_can_be(world: World) -> None:
    form = {"kind": "crew", "projects": [world.project_id]}
    for name, text in NEVER.items():
        answer = world.call(ADMINISTRATOR, "POST", "/v1/tokens", json={**form, "expires_at": text})
        assert pointers(refusal(answer, 422)) == ["/expires_at"], name
    world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json={**form, "expires_at": "2100-12-31T23:59:59Z"})


# What earlier releases kept: the row's times as PostgreSQL has them, and the years of the text as they were written.
KEPT = [
    ("0001-12-31 10:00:00+00 BC", "1-01-01T00:00:00.000000Z"),
    ("0001-01-01 00:00:00+00", "999-12-31T23:59:59.999999Z"),
    ("12000-01-01 00:00:00+00", "9999-12-31T23:59:59.999999Z"),
    ("infinity", "1999-12-31T23:59:59.999999Z"),
    ("-infinity", "2000-01-01T00:00:00.000000Z"),
]


def test_the_ends_of_what_an_earlier_release_kept_stand_as_they_were(world: World) -> None:
    with world.engine.connect() as connection:
        rows = connection.exec_driver_sql(
            "SELECT '0001-12-31 10:00:00+00 BC'::timestamptz, '-infinity'::timestamptz, 'infinity'::timestamptz, "
            "'12000-01-01Z'::timestamptz, '9999-12-31 23:59:59.999999+00'::timestamptz, "
            "'2026-03-02 08:00Z'::timestamptz"
        ).one()
    first, last = datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)
    assert list(rows) == [first, first, last, last, last, datetime(2026, 3, 2, 8, tzinfo=UTC)]


@pytest.mark.parametrize(("row_time", "text"), KEPT)
def test_what_an_earlier_release_kept_is_read_judged_replaced_and_withdrawn(
    world: World, servers: Servers, row_time: str, text: str
) -> None:
    old = [anew(make_splice(fibres=[fibre])) for fibre in (1, 2)]
    old += [anew(make_otdr()), anew(make_calibration())]
    world.post_records(old)
    _keep_as_before(world, servers, row_time, text)
    world.drain()
    assert _read(world) == {one["id"] for one in old}
    assert len(list(_page_by_page(world))) == len(old)
    assert world.status()["is_judged"]
    fibre = world.ask(CREW, "GET", f"/v1/routes/{world.route_id}/fibres/1")
    assert fibre["findings"], fibre
    assert world.status()["judging_problem"] is None
    form = {"reason": "x", "sent_at": datetime.now(UTC).isoformat(), "record": anew(old[0])}
    world.ask(CREW, "POST", f"{records_path(world)}/{old[0]['id']}/replacement", json=form)
    withdrawal = {"records": [one["id"] for one in old[1:]], "reason": "a clock that was never set"}
    answer = world.ask(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=withdrawal)
    assert answer == {"withdrawn": 3}
    world.drain()
    assert len(_read(world)) == len(old) + 1


def _keep_as_before(world: World, servers: Servers, row_time: str, text: str) -> None:
    # The application's role changes no record.
    with servers.postgres.connect(database=str(world.engine.url.database)) as connection:
        for id_, body in connection.execute("SELECT id, body FROM record").fetchall():
            kept = orjson.loads(str(body)) | {"made_at": text}
            written = orjson.dumps(kept, option=orjson.OPT_SORT_KEYS)
            connection.execute(
                "UPDATE record SET body = %s, sha256 = %s, made_at = %s, sent_at = %s, received_at = %s WHERE id = %s",
                (written.decode(), sha256_hex(written), row_time, row_time, row_time, id_),
            )


def _read(world: World) -> set[str]:
    return {one["id"] for one in world.ask(CONTRACTOR, "GET", f"{records_path(world)}?limit=500")["items"]}


def _page_by_page(world: World) -> Iterator[Any]:
    cursor = ""
    while cursor is not None:
        page = world.ask(CONTRACTOR, "GET", f"{records_path(world)}?limit=1{cursor and f'&cursor={cursor}'}")
        yield from page["items"]
        cursor = page["next"]
