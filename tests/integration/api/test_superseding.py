"""A refused package is refused wherever one looks, and the package that takes its place says so."""

from pathlib import Path
from typing import Any

import orjson
import pytest

from service.vocabulary.words import TokenKind
from tests.integration.api.acts import CONCESSION, decide, newest_package, submit
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.test_signatures import file_of, first_page_of
from tests.world import World
from worker.signing.parsing import read_attachment

pytestmark = pytest.mark.slow
ENGINEER = TokenKind.ENGINEER


def supersedes(world: World, package: Any) -> Any:
    return orjson.loads(read_attachment(file_of(world, package), "package.json"))["supersedes"]


def refuse(world: World) -> None:
    assert decide(world, segments={"west": "refused", "east": "refused"}, reason="C5 stands open").is_success
    world.drain()


def test_a_package_of_refused_segments_names_the_one_it_takes_the_place_of(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("decided")
    first = newest_package(world)
    assert supersedes(world, first) == []
    assert submit(world, segments=["east"], concessions=[CONCESSION]).is_success
    world.drain()
    later_id = world.status()["segments"][1]["package_id"]
    later = world.ask(ENGINEER, "GET", f"/v1/packages/{later_id}")
    # West was accepted in the first one, and is not in this one.
    assert supersedes(world, later) == [{"number": first["number"], "segments": {"east": "refused"}}]
    assert f"{first['number']} (refused: east)" in first_page_of(world, later, tmp_path)


def test_the_third_package_names_both_before_it_newest_first(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    for _ in range(2):
        refuse(world)
        assert submit(world).is_success
        world.drain()
    words = {"east": "refused", "west": "refused"}
    assert supersedes(world, newest_package(world)) == [
        {"number": "OT-07/2", "segments": words},
        {"number": "OT-07/1", "segments": words},
    ]


def test_a_refused_package_is_refused_in_file_status_and_verification(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("issued")
    refuse(world)
    package = newest_package(world)
    assert set(package["decision"]["segments"].values()) == {"refused"}
    assert {one["status"] for one in world.status()["segments"]} == {"refused"}
    assert "refused: east, west" in first_page_of(world, package, tmp_path)
    path = f"/v1/verifications/{package['verification_code']}"
    assert world.http.get(path).json()["decision"] == "refused"
    assert "engineer refused it" in world.http.get(path, headers={"Accept": "text/html"}).text
