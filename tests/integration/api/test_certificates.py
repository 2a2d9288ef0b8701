"""The certificates people sign with: registered once for one person, retired for good, and no name left when erased."""

from typing import Any

import httpx
import orjson
import pytest

from service.vocabulary.words import TokenKind
from tests.integration.api.acts import pointers, refusal, register_certificate
from tests.integration.api.conftest import OpenWorld
from tests.signing_people import Signatory, make_signatory
from tests.world import World

CONTRACTOR, ADMINISTRATOR = TokenKind.CONTRACTOR, TokenKind.ADMINISTRATOR


@pytest.fixture
def world(fresh_world: OpenWorld) -> World:
    return fresh_world("bound")


def path_of(world: World, person_id: str) -> str:
    return f"/v1/projects/{world.project_id}/people/{person_id}/certificates"


def post(world: World, person_id: str, pem: str) -> httpx.Response:
    return world.call(ADMINISTRATOR, "POST", path_of(world, person_id), json={"pem": pem})


def listed(world: World, person_id: str) -> list[Any]:
    found: list[Any] = world.ask(CONTRACTOR, "GET", path_of(world, person_id))["certificates"]
    return found


def retire(world: World, person_id: str, signatory: Signatory) -> httpx.Response:
    return world.call(ADMINISTRATOR, "DELETE", f"{path_of(world, person_id)}/{signatory.fingerprint}")


def deeds(world: World) -> list[tuple[str, str, str | None]]:
    with world.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    entries = [orjson.loads(row) for row in rows]
    return [(one["action"], one["subject"], one.get("content_sha256")) for one in entries]


def test_a_certificate_is_registered_once_and_stands_in_the_chain(world: World) -> None:
    person = make_signatory()
    assert [post(world, "p-1c9", person.pem).status_code for _ in range(2)] == [201, 200]
    assert [one["sha256"] for one in listed(world, "p-1c9")] == [person.fingerprint]
    registered = ("certificate.registered", "p-1c9", person.fingerprint)
    assert [one for one in deeds(world) if one[2] == person.fingerprint] == [registered]


def test_a_certificate_is_one_persons(world: World) -> None:
    person = make_signatory()
    register_certificate(world, "p-1c9", person)
    refusal(post(world, "p-9e6", person.pem), 409)
    refusal(retire(world, "p-9e6", person), 404)


def test_what_nobody_could_sign_with_is_refused_and_nothing_is_written(world: World) -> None:
    before = deeds(world)
    for pem in ("no certificate", make_signatory(usage=None).pem, make_signatory(is_authority=True).pem):
        assert pointers(refusal(post(world, "p-1c9", pem), 422)) == ["/pem"]
    assert (listed(world, "p-1c9"), deeds(world)) == ([], before)


def test_a_retired_certificate_stays_listed_and_is_not_taken_again(world: World) -> None:
    person = make_signatory()
    register_certificate(world, "p-1c9", person)
    assert [retire(world, "p-1c9", person).status_code for _ in range(2)] == [204, 204]
    [row] = listed(world, "p-1c9")
    assert (row["sha256"], row["retired_at"] is None) == (person.fingerprint, False)
    refusal(post(world, "p-1c9", person.pem), 409)
    retired = ("certificate.retired", "p-1c9", person.fingerprint)
    assert [one for one in deeds(world) if one[0] == "certificate.retired"] == [retired]


def test_with_a_persons_name_goes_what_in_the_certificates_says_it(world: World) -> None:
    person = make_signatory("Corin Haldersby")
    register_certificate(world, "p-1c9", person)
    assert "Corin Haldersby" in str(listed(world, "p-1c9"))
    world.ask(CONTRACTOR, "DELETE", f"/v1/projects/{world.project_id}/people/p-1c9")
    [row] = listed(world, "p-1c9")
    assert (row["sha256"], row["subject"], row["pem"]) == (person.fingerprint, None, None)
    assert row["retired_at"] is not None
    with world.engine.connect() as connection:
        [kept] = connection.exec_driver_sql(
            "SELECT c::text FROM person_certificate c WHERE person_id = 'p-1c9'"
        ).scalars()
    assert "Corin" not in kept
