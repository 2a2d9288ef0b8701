"""Packages hold the audit chain fast: one written anew or cut off, each link right, is found by their heads."""

from collections.abc import Callable, Iterator
from typing import Any
from uuid import UUID

import psycopg
import pytest

from service.actions.access.audit import verify_chain
from service.storage.audit import chain_hash
from service.storage.session import snapshot
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.conftest import Servers
from tests.integration.api.acts import newest_package
from tests.integration.api.conftest import OpenWorld
from tests.world import World
from worker.commands.issued_status import Served, ask_issued_status, issued_status_lines
from worker.commands.page_comparison import check_data
from worker.commands.upkeep import first_bad_entries

Superuser = psycopg.Connection[tuple[object, ...]]


@pytest.fixture
def world(fresh_world: OpenWorld) -> World:
    return fresh_world("issued")


@pytest.fixture
def superuser(world: World, servers: Servers) -> Iterator[Superuser]:
    with servers.postgres.connect(database=str(world.engine.url.database)) as connection:
        yield connection


def ask(world: World) -> Served:
    """Ask the world's service about its newest package's file."""
    path = f"/v1/packages/{newest_package(world)['id']}/pdf"
    pdf = world.call(TokenKind.ENGINEER, "GET", path).content
    return ask_issued_status(pdf, sha256=sha256_hex(pdf), head=check_data(pdf).audit_head, client=world.http)


def first_bad(world: World) -> int | None:
    with snapshot(world.engine) as session:
        return verify_chain(session, UUID(world.project_id))


def _write_anew(superuser: Superuser, project_id: str) -> None:
    """Change the second entry and make every hash after it right again, that of the head row too."""
    rows = superuser.execute(
        "SELECT sequence, entry, hash FROM audit_entry WHERE project_id = %s ORDER BY sequence", (project_id,)
    ).fetchall()
    previous = str(rows[0][2])
    for sequence, entry, _ in rows[1:]:
        text = str(entry).replace('"actor":"', '"actor":"other ') if sequence == 2 else str(entry)
        link = chain_hash(previous, text)
        superuser.execute(
            "UPDATE audit_entry SET entry = %s, previous_hash = %s, hash = %s WHERE project_id = %s AND sequence = %s",
            (text, previous, link, project_id, sequence),
        )
        previous = link
    superuser.execute("UPDATE project_head SET audit_hash = %s WHERE project_id = %s", (previous, project_id))


def _cut_off(superuser: Superuser, project_id: str) -> None:
    """Leave two entries, and a head row that knows of no more."""
    superuser.execute("DELETE FROM audit_entry WHERE project_id = %s AND sequence > 2", (project_id,))
    superuser.execute(
        "UPDATE project_head SET audit_sequence = 2, audit_hash = (SELECT hash FROM audit_entry WHERE project_id = %s "
        "AND sequence = 2) WHERE project_id = %s",
        (project_id, project_id),
    )


def stated(world: World) -> dict[str, Any]:
    code = newest_package(world)["verification_code"]
    link: dict[str, Any] = world.http.get(f"/v1/verifications/{code}").json()["audit"]
    return link


def test_a_package_states_the_entry_that_the_chain_ended_with(world: World) -> None:
    served, link = ask(world), stated(world)
    assert served.problems == ()
    assert issued_status_lines(served)[1] == f"            its audit entry {link['sequence']} is {link['hash']}"
    assert first_bad(world) is None


@pytest.mark.parametrize("act", [_write_anew, _cut_off])
def test_a_chain_whose_every_link_is_right_is_held_against_the_packages(
    world: World, superuser: Superuser, act: Callable[[Superuser, str], None]
) -> None:
    before = stated(world)
    act(superuser, world.project_id)
    now = stated(world)
    assert now["sequence"] == before["sequence"] > 2
    assert now["hash"] != before["hash"]
    assert (now["hash"] is None) == (act is _cut_off)
    assert first_bad(world) == before["sequence"]
    url = str(world.settings.database_url.get_secret_value())
    assert list(first_bad_entries(url).values()) == [before["sequence"]]
    assert ask(world).problems == (
        f"The project's audit chain no longer has entry {before['sequence']} as this file states it: what was recorded "
        "up to then was changed or cut off.",
    )


def test_without_packages_the_same_would_go_unseen(fresh_world: OpenWorld, servers: Servers) -> None:
    world = fresh_world("judged")
    with servers.postgres.connect(database=str(world.engine.url.database)) as superuser:
        _write_anew(superuser, world.project_id)
    assert first_bad(world) is None
