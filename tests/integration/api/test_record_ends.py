"""Withdrawal and replacement: reasons are kept, nothing is removed, and what ended no longer counts."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import orjson
import pytest

from service.vocabulary.words import TokenKind
from tests.factories import finished_fibre, make_criteria, make_splice
from tests.integration.api.acts import pointers, records_path, refusal
from tests.integration.api.conftest import OpenWorld
from tests.world import World, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
LOSSES = read_demo("05_attenuation")["records"]


def anew(record: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return {**record, "id": str(uuid4()), **changes}


def withdraw(
    world: World, ids: list[str], *, reason: str = "wrong meter", kind: TokenKind = TokenKind.CONTRACTOR
) -> Any:
    path = f"/v1/routes/{world.route_id}/withdrawals"
    return world.call(kind, "POST", path, json={"records": ids, "reason": reason})


def replace(
    world: World, old: str, record: dict[str, Any], *, kind: TokenKind = CREW, reason: str = "wrong meter"
) -> Any:
    form = {"reason": reason, "sent_at": datetime.now(UTC).isoformat(), "record": record}
    return world.call(kind, "POST", f"{records_path(world)}/{old}/replacement", json=form)


def kept(world: World, record_id: str) -> Any:
    items: list[Any] = []
    path = f"{records_path(world)}?limit=500"
    while path:
        answer = world.call(CONTRACTOR, "GET", path)
        items += answer.json()["items"]
        path = answer.links.get("next", {}).get("url", "")
    [found] = [item for item in items if item["id"] == record_id]
    return found


def audited(world: World) -> list[str]:
    with world.engine.connect() as connection:
        entries = connection.exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    return [orjson.loads(one)["action"] for one in entries]


def counts(world: World) -> dict[str, int]:
    world.drain()
    total: dict[str, int] = {}
    for segment in world.status()["segments"]:
        for outcome, number in segment["counts"].items():
            total[outcome] = total.get(outcome, 0) + number
    return total


def test_a_withdrawn_record_stays_with_its_reason_and_no_longer_counts(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    before, digest = counts(world), world.status()["verdict_digest"]
    gone = LOSSES[0]["id"]
    assert withdraw(world, [gone], reason="meter was not referenced").json() == {"withdrawn": 1}
    found = kept(world, gone)
    assert (found["is_ended"], found["end_reason"], found["replaced_by"]) == (True, "meter was not referenced", None)
    after = counts(world)
    assert after["undetermined"] > before["undetermined"]
    assert world.status()["verdict_digest"] != digest
    version = world.status()["version"]
    assert withdraw(world, [gone], reason="said again").json() == {"withdrawn": 0}
    assert (kept(world, gone)["end_reason"], world.status()["version"]) == ("meter was not referenced", version)


def test_records_are_withdrawn_all_or_none(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    problem = refusal(withdraw(world, [LOSSES[0]["id"], str(uuid4())]), 422)
    assert pointers(problem) == ["/records/1"]
    assert not kept(world, LOSSES[0]["id"])["is_ended"]


@pytest.mark.parametrize("reason", ["", "  ", "\u200b", "x" * 501])
def test_an_end_needs_a_reason(fresh_world: OpenWorld, reason: str) -> None:
    world = fresh_world("judged")
    assert pointers(refusal(withdraw(world, [LOSSES[0]["id"]], reason=reason), 422)) == ["/reason"]


def test_a_replacement_counts_instead_and_may_be_sent_again(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    before, told = counts(world), audited(world)
    better = anew(LOSSES[0], loss_db=30.0)
    first, second = replace(world, LOSSES[0]["id"], better), replace(world, LOSSES[0]["id"], better)
    assert (first.json()["outcome"], second.json()["outcome"]) == ("stored", "already_stored")
    assert audited(world)[len(told) :] == ["record.replaced"]
    found = kept(world, LOSSES[0]["id"])
    assert (found["end_reason"], found["replaced_by"]) == ("wrong meter", better["id"])
    assert found["record"]["loss_db"] == f"{LOSSES[0]['loss_db']:.3f}"
    # Far beyond what its traces add up to, it proves nothing, in either segment.
    after = counts(world)
    assert after["nonconforming"] == before["nonconforming"]
    assert after["undetermined"] == before["undetermined"] + 2 * len(["west", "east"])


def test_a_record_ends_once_and_in_one_way(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    first, second = LOSSES[0]["id"], LOSSES[1]["id"]
    replace(world, first, anew(LOSSES[0]))
    withdraw(world, [second])
    for ended, record in ((first, LOSSES[0]), (second, LOSSES[1])):
        another = anew(record)
        refusal(replace(world, ended, another), 409)
        assert world.post_records([another])["results"][0]["outcome"] == "stored"


def test_a_replacement_is_said_by_pointers_of_the_form(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    old = LOSSES[0]["id"]
    beyond = replace(world, old, anew(LOSSES[0], fibre=25), kind=CONTRACTOR)
    assert pointers(refusal(beyond, 422)) == ["/record/fibre"]
    assert pointers(refusal(replace(world, old, anew(LOSSES[0], loss_db="1")), 422)) == ["/record/loss_db"]
    assert pointers(refusal(replace(world, old, LOSSES[0]), 422)) == ["/record/id"]
    refusal(replace(world, old, {**LOSSES[1], "loss_db": 9.9}, kind=CONTRACTOR), 409)
    refusal(replace(world, str(uuid4()), anew(LOSSES[0])), 404)
    assert not kept(world, old)["is_ended"]


def test_a_crew_replaces_its_own_only_and_the_contractor_any(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    form = {"kind": "crew", "projects": [world.project_id]}
    own = world.tokens[CREW]
    world.tokens[CREW] = world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    refusal(replace(world, LOSSES[0]["id"], anew(LOSSES[0])), 403)
    world.tokens[CREW] = own
    assert replace(world, LOSSES[0]["id"], anew(LOSSES[0])).is_success
    assert replace(world, LOSSES[1]["id"], anew(LOSSES[1]), kind=CONTRACTOR).is_success


def test_a_crew_replaces_like_with_like_and_the_contractor_moves_a_record(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    old, other_fibre = LOSSES[0], anew(LOSSES[0], fibre=LOSSES[0]["fibre"] + 1)
    assert pointers(refusal(replace(world, old["id"], other_fibre), 422)) == ["/record"]
    refusal(replace(world, old["id"], anew(LOSSES[0], wavelength_nm=1625)), 422)
    assert not kept(world, old["id"])["is_ended"]
    assert replace(world, old["id"], other_fibre, kind=CONTRACTOR).is_success


def test_a_reading_can_not_be_done_without_by_replacing_in_a_ring(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    first, second = LOSSES[0], anew(LOSSES[0], loss_db=30.0)
    assert replace(world, first["id"], second).is_success
    refusal(replace(world, second["id"], first), 409)
    assert not kept(world, second["id"])["is_ended"]


def test_a_withdrawn_splice_lets_every_fibre_of_its_closure_be_judged_anew(world: World) -> None:
    criteria = make_criteria(rework_voids="closure")
    path = f"/v1/projects/{world.project_id}/criteria"
    version = world.ask(ENGINEER, "POST", path, json=criteria)["version"]
    binding = f"/v1/routes/{world.route_id}/criteria"
    world.ask(ENGINEER, "PUT", binding, json={"version": version})
    world.ask(CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": version})
    late = make_splice(site="C1", fibres=[2], made_at="2025-03-25T08:00:00Z")
    assert world.post_records([*finished_fibre(fibre=1), late])["failed"] == 0
    voided = counts(world)
    withdraw(world, [late["id"]], reason="typed into the wrong route")
    assert counts(world) == voided
    withdraw(world, [late["id"]], reason="as the crew's sheet shows", kind=ENGINEER)
    mended = counts(world)
    assert mended["conforming"] > voided["conforming"]


def test_after_submission_only_the_contractor_replaces(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    refusal(replace(world, LOSSES[0]["id"], anew(LOSSES[0])), 409)
    assert replace(world, LOSSES[0]["id"], anew(LOSSES[0]), kind=CONTRACTOR).is_success
    assert withdraw(world, [LOSSES[1]["id"]]).json() == {"withdrawn": 1}
