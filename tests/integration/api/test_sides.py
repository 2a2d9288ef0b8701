"""People belong to a side: each names, erases and certifies its own, and an act keeps the name printed of it."""

import subprocess
from pathlib import Path
from typing import Any

import httpx
import orjson
import pytest

from service.vocabulary.words import TokenKind
from tests.integration.api.acts import decide, newest_package, pointers, refusal, register_certificate, submit
from tests.integration.api.conftest import OpenWorld
from tests.outside_tools import require_tool
from tests.signing_people import make_signatory
from tests.world import World, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
PEOPLE = {"contractor": "p-1c9", "owner": "p-9e6"}
OF = {CONTRACTOR: "contractor", ENGINEER: "owner"}
NAMED = {"name": "Somebody Else", "role": "anything"}


@pytest.fixture
def world(fresh_world: OpenWorld) -> World:
    return fresh_world("bound")


def person(world: World, person_id: str) -> str:
    return f"/v1/projects/{world.project_id}/people/{person_id}"


def rows(world: World) -> list[Any]:
    with world.engine.connect() as connection:
        people = connection.exec_driver_sql("SELECT id, name, role FROM person ORDER BY id").all()
        certificates = connection.exec_driver_sql("SELECT person_id, retired_at FROM person_certificate").all()
        heads = connection.exec_driver_sql("SELECT audit_hash FROM project_head").all()
    return [people, certificates, heads]


def actors(world: World, action: str) -> list[str]:
    with world.engine.connect() as connection:
        entries = connection.exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    return [one["actor"].partition(":")[0] for one in map(orjson.loads, entries) if one["action"] == action]


def test_no_side_touches_a_person_of_the_other(world: World) -> None:
    signatories = {side: make_signatory() for side in PEOPLE}
    for side, person_id in PEOPLE.items():
        register_certificate(world, person_id, signatories[side])
    before = rows(world)
    for kind in TokenKind:
        for side, person_id in PEOPLE.items():
            if kind is ADMINISTRATOR or OF.get(kind) == side:
                continue
            path = person(world, person_id)
            asked = [
                ("PUT", path, NAMED),
                ("PUT", path, NAMED | {"side": side}),
                ("DELETE", path, None),
                ("POST", f"{path}/certificates", {"pem": make_signatory().pem}),
                ("DELETE", f"{path}/certificates/{signatories[side].fingerprint}", None),
            ]
            for method, url, body in asked:
                answer = world.call(kind, method, url, **({} if body is None else {"json": body}))
                assert answer.status_code in ({422, 403} if "side" in (body or {}) else {403}), (kind, method, url)
    assert rows(world) == before


def test_each_side_and_the_administrator_name_certify_and_erase(world: World) -> None:
    for kind, side in [(CONTRACTOR, "contractor"), (ENGINEER, "owner"), *((ADMINISTRATOR, side) for side in PEOPLE)]:
        path, signatory = person(world, f"p-{kind.value}-{side}"), make_signatory()
        form = NAMED | ({"side": side} if kind is ADMINISTRATOR else {})
        named = world.ask(kind, "PUT", path, json=form)
        assert (named["name"], named["side"]) == ("Somebody Else", side)
        assert world.ask(kind, "PUT", path, json=NAMED | {"name": "Anew"})["side"] == side
        assert world.call(kind, "POST", f"{path}/certificates", json={"pem": signatory.pem}).status_code == 201
        assert world.call(kind, "DELETE", f"{path}/certificates/{signatory.fingerprint}").status_code == 204
        assert world.call(kind, "DELETE", path).status_code == 204
    for action in ("person.named", "certificate.registered", "certificate.retired", "person.erased"):
        assert {"contractor", "engineer", "administrator"} <= set(actors(world, action)), action


def test_the_administrator_says_whose_person_it_is_and_nobody_says_otherwise_later(world: World) -> None:
    path = person(world, "p-new")
    assert pointers(refusal(world.call(ADMINISTRATOR, "PUT", path, json=NAMED), 422)) == ["/side"]
    world.ask(ADMINISTRATOR, "PUT", path, json=NAMED | {"side": "owner"})
    refusal(world.call(ADMINISTRATOR, "PUT", path, json=NAMED | {"side": "contractor"}), 403)
    refusal(world.call(CONTRACTOR, "PUT", path, json=NAMED), 403)
    assert pointers(refusal(world.call(ENGINEER, "PUT", path, json=NAMED | {"side": "contractor"}), 422)) == ["/side"]
    assert world.ask(ENGINEER, "PUT", path, json=NAMED | {"side": "owner"})["side"] == "owner"


def test_a_certificate_registered_by_the_wrong_side_is_not_lost_to_its_owner(world: World) -> None:
    engineers = make_signatory()
    squatted, own = (f"{person(world, PEOPLE[side])}/certificates" for side in ("contractor", "owner"))
    world.ask(CONTRACTOR, "POST", squatted, json={"pem": engineers.pem})
    for kind in (ENGINEER, ADMINISTRATOR):
        refusal(world.call(kind, "POST", own, json={"pem": engineers.pem}), 409)
    world.ask(ADMINISTRATOR, "DELETE", f"{squatted}/{engineers.fingerprint}")
    refusal(world.call(ENGINEER, "POST", own, json={"pem": engineers.pem}), 409)
    given = world.call(ADMINISTRATOR, "POST", own, json={"pem": engineers.pem})
    assert (given.status_code, given.json()["person_id"], given.json()["retired_at"]) == (201, "p-9e6", None)
    assert world.ask(ENGINEER, "GET", squatted)["certificates"] == []
    refusal(world.call(CONTRACTOR, "DELETE", f"{own}/{engineers.fingerprint}"), 403)


def test_an_erased_persons_id_is_not_taken_by_the_other_side(world: World) -> None:
    for kind, other in ((CONTRACTOR, ENGINEER), (ENGINEER, CONTRACTOR)):
        path = person(world, PEOPLE[OF[kind]])
        world.ask(kind, "DELETE", path)
        refusal(world.call(other, "PUT", path, json=NAMED), 403)
        refusal(world.call(other, "DELETE", path), 403)
        refusal(world.call(kind, "DELETE", path), 404)
        assert world.ask(kind, "PUT", path, json=NAMED)["side"] == OF[kind]


def issue(world: World, kind: TokenKind, holder: str) -> httpx.Response:
    form = {"kind": kind.value, "projects": [world.project_id], "holder": holder}
    return world.call(ADMINISTRATOR, "POST", "/v1/tokens", json=form)


def test_who_holds_a_token_is_of_the_side_it_acts_for(world: World) -> None:
    for kind, own, other in (
        (ENGINEER, "owner", "contractor"),
        (CONTRACTOR, "contractor", "owner"),
        (CREW, "contractor", "owner"),
    ):
        assert pointers(refusal(issue(world, kind, PEOPLE[other]), 422)) == ["/holder"]
        assert issue(world, kind, PEOPLE[own]).status_code == 201
        assert issue(world, kind, f"p-first-{own}").status_code == 201
    # To hold a token is to use the id: the other side does not get it any more.
    refusal(world.call(CONTRACTOR, "PUT", person(world, "p-first-owner"), json=NAMED), 403)
    refusal(world.call(ENGINEER, "PUT", person(world, "p-first-contractor"), json=NAMED), 403)


def test_who_did_the_crews_work_is_the_contractors_to_name(world: World) -> None:
    record = {**read_demo("01_splicing")["records"][1], "operator": "p-4v8"}
    assert [one["outcome"] for one in world.post_records([record])["results"]] == ["stored"]
    refusal(world.call(ENGINEER, "PUT", person(world, "p-4v8"), json=NAMED), 403)
    assert world.ask(CONTRACTOR, "PUT", person(world, "p-4v8"), json=NAMED)["side"] == "contractor"


def test_the_owners_person_answers_for_no_submission(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    problem = refusal(submit(world, responsible_person="p-9e6"), 422)
    assert pointers(problem) == ["/responsible_person"]


def stamps(world: World, tmp_path: Path) -> str:
    """Return all text of the newest package's current file, as poppler reads it, the stamps of seals included."""
    file = tmp_path / "package.pdf"
    file.write_bytes(world.call(ENGINEER, "GET", f"/v1/packages/{newest_package(world)['id']}/pdf").content)
    said = subprocess.run(
        [require_tool("pdftotext"), "-layout", str(file), "-"], check=True, capture_output=True, text=True
    )
    return " ".join(said.stdout.split())


def kept_names(world: World) -> list[str | None]:
    with world.engine.connect() as connection:
        submitted = connection.exec_driver_sql(
            "SELECT responsible_name, responsible_position FROM submission ORDER BY number DESC LIMIT 1"
        ).one()
        decided = connection.exec_driver_sql("SELECT decided_by_name, decided_by_position FROM decision").all()
    return [*submitted, *(name for row in decided for name in row)]


FROZEN = ["Corin Haldersby", "works manager", "Petra Lindqvale", "acceptance engineer"]


@pytest.mark.parametrize("is_erased", [False, True])
def test_what_is_printed_is_the_name_at_the_act_whatever_becomes_of_it(
    fresh_world: OpenWorld, tmp_path: Path, is_erased: bool
) -> None:
    world = fresh_world("judged")
    assert submit(world).status_code == 202
    _rename_or_erase(world, CONTRACTOR, is_erased=is_erased)
    world.drain()
    assert decide(world).is_success
    _rename_or_erase(world, ENGINEER, is_erased=is_erased)
    world.drain()
    text = stamps(world, tmp_path)
    assert "Corin Haldersby, works manager, declares" in text
    assert "Petra Lindqvale, acceptance engineer, for" in text
    assert "Somebody Else" not in text
    # Once both are printed, an erased name stands in the file alone.
    assert kept_names(world) == ([None] * 4 if is_erased else FROZEN)


def test_erasing_a_name_later_clears_what_the_acts_kept_and_no_other(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    assert kept_names(world) == FROZEN
    world.ask(ENGINEER, "DELETE", person(world, "p-9e6"))
    assert kept_names(world) == [*FROZEN[:2], None, None]
    world.ask(ADMINISTRATOR, "DELETE", person(world, "p-1c9"))
    assert kept_names(world) == [None] * 4


def _rename_or_erase(world: World, kind: TokenKind, *, is_erased: bool) -> None:
    path = person(world, PEOPLE[OF[kind]])
    if is_erased:
        world.ask(kind, "DELETE", path)
    else:
        world.ask(kind, "PUT", path, json=NAMED)
