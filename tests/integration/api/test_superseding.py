"""A refused package is refused wherever one looks, and the package that takes its place says so."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import orjson
from sqlalchemy import update

from service.storage.session import transaction
from service.storage.tables import Acceptance
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import CONCESSION, decide, newest_package, submit
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.test_signatures import file_of, text_of
from tests.world import World
from worker.signing.check.parsing import read_attachment

ENGINEER = TokenKind.ENGINEER


def supersedes(world: World, package: Any) -> Any:
    return orjson.loads(read_attachment(file_of(world, package), "package.json"))["supersedes"]


def refuse(world: World) -> None:
    assert decide(world, segments={"west": "refused", "east": "refused"}, reason="C5 stands open").is_success
    world.drain()


def words_of(entry: Any) -> dict[str, tuple[Any, ...]]:
    return {
        id_: (one["word"], one["now"], one.get("superseded_by"), one.get("reason"))
        for id_, one in entry["segments"].items()
    }


def test_a_package_says_segment_by_segment_what_stands_of_the_one_before(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("decided")
    first = newest_package(world)
    assert supersedes(world, first) == []
    assert submit(world, segments=["east"], concessions=[CONCESSION]).is_success
    world.drain()
    later_id = world.status()["segments"][1]["package_id"]
    later = world.ask(ENGINEER, "GET", f"/v1/packages/{later_id}")
    [entry] = supersedes(world, later)
    assert (entry["number"], entry["is_deemed"]) == (first["number"], False)
    assert words_of(entry) == {
        "west": ("accepted", "stands", None, None),
        "east": ("refused", "superseded", later["number"], None),
    }
    said = f"{first['number']}: west accepted, stands; east refused, superseded by this one"
    assert said in text_of(world, later, tmp_path, page=1)


def test_an_acceptance_withdrawn_is_named_with_its_reason(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    with transaction(world.engine) as session:
        # No operation withdraws an acceptance yet; what is stored says how it will.
        session.execute(update(Acceptance).values(withdrawn_at=datetime.now(UTC), withdrawal_reason="water in C2"))
    assert submit(world).is_success
    world.drain()
    later = newest_package(world)
    [entry] = supersedes(world, later)
    assert words_of(entry)["west"] == ("accepted", "withdrawn", later["number"], "water in C2")


def test_the_third_package_names_both_before_it_newest_first(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    for _ in range(2):
        refuse(world)
        assert submit(world).is_success
        world.drain()
    second, first = supersedes(world, newest_package(world))
    assert (second["number"], first["number"]) == ("OT-07/2", "OT-07/1")
    assert second["reason"] == first["reason"] == "C5 stands open"
    assert set(words_of(second).values()) == {("refused", "superseded", "OT-07/3", None)}
    # The first was superseded by the second, whatever came later.
    assert set(words_of(first).values()) == {("refused", "superseded", "OT-07/2", None)}


def test_a_refused_package_is_refused_in_file_status_and_verification(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("issued")
    refuse(world)
    package = newest_package(world)
    assert set(package["decision"]["segments"].values()) == {"refused"}
    assert {one["status"] for one in world.status()["segments"]} == {"refused"}
    text = text_of(world, package, tmp_path, page=2)
    assert "refuses 2 segments of this package." in text
    assert "Refused west, east Reason given C5 stands open" in text
    path = f"/v1/verifications/{package['verification_code']}"
    assert world.http.get(path).json()["decision"] == "refused"
    assert "engineer refused it" in world.http.get(path, headers={"Accept": "text/html"}).text
