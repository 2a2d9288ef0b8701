"""What anybody who holds a package's code learns: its standing and its digests, as JSON and as a page."""

from typing import Any

import httpx
import pytest

from service.api.acceptance.verification_page import POLICY
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import CONCESSION, decide, newest_package, refusal, submit
from tests.integration.api.conftest import OpenWorld
from tests.world import World

PAGE = {"Accept": "text/html,application/xhtml+xml"}


def look(world: World, code: str, **how: Any) -> httpx.Response:
    """Ask without a token."""
    return world.http.get(f"/v1/verifications/{code}", **how)


def test_a_package_not_decided_yet_is_current_and_undecided(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    package = newest_package(world)
    answer = look(world, package["verification_code"]).json()
    assert (answer["number"], answer["decision"], answer["decided_at"]) == (package["number"], "undecided", None)
    assert (answer["standing"], answer["superseded_by"]) == ("current", None)
    assert (answer["certified_sha256"], answer["current_sha256"]) == (
        package["certified_sha256"],
        package["current_sha256"],
    )
    assert (answer["signatures"], answer["awaited_signatures"]) == ([], ["decision"])


@pytest.mark.parametrize(
    ("words", "decision"),
    [
        ({"west": "accepted", "east": "accepted"}, "accepted"),
        ({"west": "accepted", "east": "refused"}, "accepted_in_part"),
        ({"west": "refused", "east": "refused"}, "refused"),
    ],
)
def test_it_says_what_the_engineer_said(fresh_world: OpenWorld, words: dict[str, str], decision: str) -> None:
    world = fresh_world("issued")
    granted = [1] if words["east"] == "accepted" else []
    assert decide(world, segments=words, concessions_granted=granted).status_code == 200
    world.drain()
    package = newest_package(world)
    answer = look(world, package["verification_code"]).json()
    assert (answer["decision"], answer["decided_at"] is None) == (decision, False)
    [seal] = answer["signatures"]
    assert (seal["role"], seal["by"]) == ("decision", "service_seal")
    assert seal["file_sha256"] == answer["current_sha256"] == package["current_sha256"]
    assert answer["standing"] == "current"


def submit_and_issue(world: World, *segments: str) -> Any:
    """Submit segments with the concession that east needs, and return their package."""
    assert submit(world, segments=list(segments), concessions=[CONCESSION]).status_code == 202
    world.drain()
    package_id = world.status()["segments"][1]["package_id"]
    return world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{package_id}")


def test_a_later_package_takes_the_place_of_those_segments_that_it_has(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    first = newest_package(world)
    code = first["verification_code"]
    assert look(world, code).json()["standing"] == "current"
    later = submit_and_issue(world, "east")
    answer = look(world, code).json()
    # West was accepted by the first, and no later one has it.
    assert (answer["standing"], answer["superseded_by"]) == ("superseded_in_part", later["number"])
    assert f"superseded in part: package {later['number']} was issued later" in look(world, code, headers=PAGE).text
    assert look(world, later["verification_code"]).json()["standing"] == "current"


def test_a_submission_alone_takes_no_place(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    assert submit(world, segments=["east"], concessions=[CONCESSION]).status_code == 202
    assert look(world, newest_package(world)["verification_code"]).json()["standing"] == "current"


def test_a_package_whose_segments_are_all_submitted_again_is_superseded(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    first = newest_package(world)
    assert decide(world, segments={"west": "refused", "east": "refused"}).status_code == 200
    world.drain()
    later = submit_and_issue(world, "west", "east")
    answer = look(world, first["verification_code"]).json()
    assert (answer["standing"], answer["decision"], answer["superseded_by"]) == (
        "superseded",
        "refused",
        later["number"],
    )
    page = look(world, first["verification_code"], headers=PAGE).text
    assert f"superseded: package {later['number']} was issued later" in page


@pytest.mark.parametrize("typed", [str.lower, lambda code: code.replace("-", ""), lambda code: code.replace("-", " ")])
def test_a_code_may_be_typed_as_it_is_read_out(shared_package: tuple[World, Any], typed: Any) -> None:
    world, package = shared_package
    assert look(world, typed(package["verification_code"])).json()["number"] == package["number"]


@pytest.mark.parametrize("code", ["AAAA-BBBB-CCCC-DDDD", "x", "%00", "..", "A" * 3000, "🙂"])
def test_what_is_no_code_is_not_found(shared_package: tuple[World, Any], code: str) -> None:
    world, _ = shared_package
    assert refusal(look(world, code), 404)


def test_the_page_says_the_same_and_takes_nothing_from_elsewhere(shared_package: tuple[World, Any]) -> None:
    world, package = shared_package
    answer = look(world, package["verification_code"], headers=PAGE)
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert (answer.headers["content-security-policy"], answer.headers["x-robots-tag"]) == (POLICY, "noindex")
    audit = look(world, package["verification_code"]).json()["audit"]
    assert f"audit entry {audit['sequence']}</dt><dd><code>{audit['hash']}</code>" in answer.text
    for said in (package["number"], package["certified_sha256"], "current package of its segments", "not decided"):
        assert said in answer.text
    assert not any(word in answer.text for word in ("<script", "http://", "https://", "url("))


def test_nothing_private_is_told(shared_package: tuple[World, Any]) -> None:
    world, package = shared_package
    project = world.ask(TokenKind.ENGINEER, "GET", f"/v1/projects/{world.project_id}")
    private = [project["owner"], project["contractor"], project["name"], world.project_id, world.route_id]
    private += [package["id"], package["submission_id"], *package["segments"], "p-1c9"]
    for headers in ({}, PAGE):
        text = look(world, package["verification_code"], headers=headers).text
        assert [one for one in private if one in text] == []


@pytest.fixture(scope="module")
def shared_package(open_world: OpenWorld) -> tuple[World, Any]:
    world = open_world("issued")
    return world, newest_package(world)
