"""Each kind of record from the door to the fibres that wait for it: stored once, refused by name, judged again."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import (
    Body,
    make_cable_laying,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_dispersion,
    make_end_face,
    make_return_loss,
    make_splice,
    make_termination,
)
from tests.integration.api.acts import pointers, records_path, refusal
from tests.record_kinds import MAKE
from tests.world import World

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
BEFORE_CALIBRATION = "2025-03-03T06:00:00Z"
ALL = set(range(1, 13))


def anew(body: Body, **changes: Any) -> Body:
    return {**body, "id": str(uuid4()), **changes}


def waiting(world: World) -> dict[int, bool]:
    """Return the fibres that wait to be judged, and which of them are urgent."""
    ask = "SELECT number, is_urgent FROM fibre WHERE judged_version < evidence_version"
    with world.engine.connect() as connection:
        return {row.number: row.is_urgent for row in connection.exec_driver_sql(ask)}


def post(world: World, *records: Body, **how: Any) -> None:
    answer = world.post_records(records, **how)
    assert [one["outcome"] for one in answer["results"]] == ["stored"] * len(records), answer


def withdraw(world: World, record: Body) -> None:
    form = {"records": [record["id"]], "reason": "not so"}
    world.ask(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=form)


def replace(world: World, old: Body, new: Body, *, kind: TokenKind = CREW) -> Any:
    form = {"reason": "not so", "sent_at": datetime.now(UTC).isoformat(), "record": new}
    return world.call(kind, "POST", f"{records_path(world)}/{old['id']}/replacement", json=form)


def test_each_kind_is_stored_once_and_reads_back(world: World) -> None:
    records = [make() for make in MAKE.values()]
    post(world, *records)
    again = world.post_records(records)
    assert [one["outcome"] for one in again["results"]] == ["already_stored"] * len(records)
    items = world.ask(CONTRACTOR, "GET", f"{records_path(world)}?limit=500")["items"]
    assert {item["id"] for item in items} == {record["id"] for record in records}


REFUSED = [
    ("pair in a closure", make_termination(site="C1"), "/fibre"),
    ("splice taken for a pair", make_cleaning(position=2), "/position"),
    ("fibre beyond the count", make_end_face(fibre=13), "/fibre"),
    ("seen beyond the count", make_continuity(seen=13), "/seen_fibre"),
    ("calibrated elsewhere", make_calibration(site="NOWHERE"), "/site"),
    ("both ends at one place", make_return_loss(to_site="A"), "/to_site"),
    ("no dispersion", make_dispersion(chromatic_ps_per_nm=None, pmd_ps=None), ""),
    ("zone twice", make_end_face(zones=[{"zone": "a"}, {"zone": "a"}]), ""),
    ("negative return loss", make_return_loss(return_loss_db=-0.001), "/return_loss_db"),
    ("negative width", make_end_face(zones=[{"zone": "a", "scratches": [{"size_um": -1.0, "count": 1}]}]), "/zones/0"),
    ("unknown member", make_cleaning(cleaner="dry"), "/cleaner"),
    ("missing member", {name: one for name, one in make_cleaning().items() if name != "side"}, "/side"),
    ("NUL", make_calibration(fibre_type="a\x00b"), "/fibre_type"),
]


def test_what_does_not_fit_is_refused_by_name_and_costs_no_other(world: World) -> None:
    answer = world.post_records([make_splice(), *(record for _, record, _ in REFUSED), make_cleaning()])
    first, *refused, last = answer["results"]
    assert (first["outcome"], last["outcome"], answer["failed"]) == ("stored", "stored", len(REFUSED))
    for (name, _, pointer), result in zip(REFUSED, refused, strict=True):
        assert result["outcome"] == "refused", name
        assert {found[: len(pointer)] for found in pointers(result["problem"])} == {pointer}, name


TOUCHED = [
    (make_splice(fibres=[3, 4]), {3, 4}),
    (make_termination(fibre=3), {3}),
    (make_cleaning(fibre=3), {3}),
    (make_end_face(fibre=3), {3}),
    (make_continuity(fibre=3, seen=4), {3, 4}),
    (make_continuity(fibre=3, seen=None), {3}),
    (make_return_loss(fibre=3), {3}),
    (make_dispersion(fibre=3), {3}),
    (make_closure_state(), ALL),
    (make_cable_laying(), set()),
]
URGENT = {"splice", "termination"}


def test_a_record_come_replaced_or_gone_has_its_fibres_judged_again(world: World) -> None:
    for record, fibres in TOUCHED:
        kind = record["kind"]
        post(world, record)
        assert waiting(world) == dict.fromkeys(fibres, kind in URGENT), kind
        world.drain()
        corrected = anew(record, device="tablet-2")
        answer = replace(world, record, corrected)
        assert answer.is_success, (kind, answer.text)
        assert waiting(world) == dict.fromkeys(fibres, True), kind
        world.drain()
        withdraw(world, corrected)
        assert waiting(world) == dict.fromkeys(fibres, True), kind
        world.drain()
        assert waiting(world) == {}, kind


def test_a_calibration_has_those_judged_again_that_its_splicer_spliced_since(world: World) -> None:
    post(
        world,
        make_splice(fibres=[1, 2]),
        make_splice(fibres=[3], splicer_serial="SPL-2"),
        make_splice(fibres=[4], made_at=BEFORE_CALIBRATION),
        make_termination(fibre=5, splicer_serial="SPL-1"),
        make_termination(fibre=6),
        make_splice(fibres=[7], splicer_serial="SPL-11"),
    )
    world.drain()
    calibration = make_calibration()
    post(world, calibration)
    assert waiting(world) == dict.fromkeys({1, 2, 5}, False)
    world.drain()
    withdraw(world, calibration)
    assert set(waiting(world)) == {1, 2, 5}


def test_a_calibration_before_any_splice_has_nothing_judged(world: World) -> None:
    post(world, make_splice(fibres=[3], splicer_serial="SPL-2"))
    world.drain()
    post(world, make_calibration())
    assert waiting(world) == {}


@pytest.mark.parametrize("wrong", ["calibration", "splice"])
def test_where_a_clock_was_wrong_a_calibration_may_be_older_than_any_splice(world: World, wrong: str) -> None:
    off = {"sent_at": datetime.now(UTC) - timedelta(days=1)}
    early = make_splice(fibres=[4], made_at=BEFORE_CALIBRATION)
    post(world, early, **(off if wrong == "splice" else {}))
    world.drain()
    post(world, make_calibration(), **(off if wrong == "calibration" else {}))
    assert waiting(world) == {4: False}


def test_a_crew_does_not_do_without_a_bad_record_by_one_of_something_else(world: World) -> None:
    for old, new in (
        (make_end_face(), make_end_face(side="towards_a")),
        (make_calibration(passed=False), make_calibration(splicer_serial="SPL-2")),
        (make_continuity(fibre=2, seen=1), make_continuity(fibre=1, seen=1)),
    ):
        post(world, old)
        refusal(replace(world, old, new), 422)
        assert replace(world, old, new, kind=CONTRACTOR).is_success, old["kind"]
