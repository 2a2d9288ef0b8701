"""Submit and decide: on what was seen, whole, once, and never by the one who asks."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.integration.api.acts import (
    CONCESSION,
    decide,
    decision_form,
    let_hold,
    newest_package,
    pointers,
    refusal,
    submit,
)
from tests.integration.api.conftest import OpenWorld
from tests.world import World, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
OTHER = "0" * 64
BOTH = {"west": "accepted", "east": "accepted"}


@pytest.fixture(scope="module")
def judged(open_world: OpenWorld) -> World:
    return open_world("judged")


@pytest.fixture(scope="module")
def issued(open_world: OpenWorld) -> World:
    return open_world("issued")


def notices(world: World) -> list[Any]:
    found: list[Any] = world.ask(BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    return found


def holder(world: World, name: str | None) -> str:
    form = {"kind": "engineer", "projects": [world.project_id], "holder": name}
    text: str = world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    return text


def test_nothing_is_submitted_while_a_fibre_waits(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    digest = world.status()["verdict_digest"]
    world.post_records(read_demo("06_repair")["records"])
    answer = submit(world, verdict_digest=digest)
    assert refusal(answer, 409)["type"].endswith("route.not_settled")
    assert answer.headers["retry-after"] == "1"


def test_only_the_current_verdict_is_submitted(judged: World) -> None:
    assert refusal(submit(judged, verdict_digest=OTHER), 412)["type"].endswith("verdict.superseded")


def test_what_does_not_conform_needs_a_concession(judged: World) -> None:
    problem = refusal(submit(judged, concessions=[]), 422)
    assert problem["type"].endswith("submission.not_conforming")
    assert pointers(problem) == ["/concessions"]
    assert "splice-1550, fibre 20 at C5, position 1" in problem["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("needless", "index"),
    [({"fibre": 19}, 1), ({"criterion": "splice-1310"}, 1), ({"site": "C4"}, 1), ({"position": 2}, 1), ({}, 1)],
)
def test_a_needless_concession_is_refused(judged: World, needless: dict[str, Any], index: int) -> None:
    problem = refusal(submit(judged, concessions=[CONCESSION, {**CONCESSION, **needless}]), 422)
    assert pointers(problem) == [f"/concessions/{index}"]


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"responsible_person": "p-0x0"}, ["/responsible_person"]),
        ({"segments": ["west", "west"]}, ["/segments"]),
        ({"segments": ["west", "north"]}, ["/segments/1"]),
        ({"segments": []}, ["/segments"]),
    ],
)
def test_what_a_submission_names_has_to_be_there(judged: World, changes: dict[str, Any], found: list[str]) -> None:
    assert pointers(refusal(submit(judged, **changes), 422)) == found


def test_a_segment_is_in_one_open_submission(issued: World) -> None:
    refusal(submit(issued), 409)
    refusal(submit(issued, segments=["west"], concessions=[]), 409)


def test_an_accepted_segment_is_not_submitted_again_and_a_refused_one_is(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    refusal(submit(world, segments=["west"], concessions=[]), 409)
    assert submit(world, segments=["east"]).status_code == 202


def test_a_decision_says_which_file_was_seen(issued: World) -> None:
    package = newest_package(issued)
    path = f"/v1/packages/{package['id']}/decision"
    refusal(issued.call(ENGINEER, "POST", path, json=decision_form(package)), 428)
    for etag in (f'"{OTHER}"', f'W/"{package["current_sha256"]}"', package["current_sha256"], "*"):
        answer = decide(issued, etag=etag)
        refusal(answer, 412)
        assert answer.headers["etag"] == f'"{package["current_sha256"]}"'
    assert pointers(refusal(decide(issued, package_sha256=OTHER), 409)) == ["/package_sha256"]


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"segments": {"west": "accepted"}}, ["/segments"]),
        ({"segments": {**BOTH, "north": "refused"}, "concessions_granted": [1]}, ["/segments/north"]),
        ({"segments": BOTH}, ["/concessions_granted"]),
        ({"segments": BOTH, "concessions_granted": [1, 2]}, ["/concessions_granted/1"]),
        ({"segments": {}}, ["/segments"]),
        ({"segments": {"west": "perhaps", "east": "refused"}}, ["/segments/west"]),
        ({"concessions_granted": [0]}, ["/concessions_granted/0"]),
        ({"concessions_granted": [2**70]}, ["/concessions_granted/0"]),
    ],
)
def test_a_decision_is_whole_or_refused(issued: World, changes: dict[str, Any], found: list[str]) -> None:
    assert pointers(refusal(decide(issued, **changes), 422)) == found
    assert newest_package(issued)["decision"] is None
    assert notices(issued) == []


def test_who_submits_can_not_accept(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    let_hold(world, ENGINEER, "p-1c9")
    assert refusal(decide(world), 403)["detail"] == "Who submits cannot accept."
    world.tokens[ENGINEER] = holder(world, "p-other")
    assert decide(world).is_success


def test_a_decision_sent_again_is_the_one_made_and_another_is_refused(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    first = decide(world)
    made = notices(world)
    assert decide(world).json() == first.json()
    world.drain()
    assert [one["role"] for one in newest_package(world)["signatures"]] == ["decision"]
    assert decide(world).json() == first.json()
    refusal(decide(world, segments={"west": "refused", "east": "refused"}), 409)
    assert notices(world) == made
    assert [one["data"]["segment_id"] for one in made] == ["west"]


def test_two_engineers_at_once_make_one_decision(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    package = newest_package(world)
    path, headers = f"/v1/packages/{package['id']}/decision", {"If-Match": f'"{package["current_sha256"]}"'}
    forms = [
        decision_form(package, reason=f"engineer {number}", segments=BOTH, concessions_granted=[1])
        for number in range(8)
    ]

    def ask(form: dict[str, Any]) -> int:
        return world.call(ENGINEER, "POST", path, json=form, headers=headers).status_code

    with ThreadPoolExecutor(8) as pool:
        statuses = sorted(pool.map(ask, forms))
    assert statuses == [200] + [409] * 7
    assert [one["data"]["segment_id"] for one in notices(world)] == ["west", "east"]


def test_two_submissions_at_once_make_one(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    digest = world.status()["verdict_digest"]
    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(lambda _: submit(world, verdict_digest=digest).status_code, range(6)))
    assert sorted(answers) == [202] + [409] * 5


def test_criteria_bind_only_as_proposed(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    criteria = {**read_demo("criteria"), "title": "another"}
    version = world.ask(ENGINEER, "POST", f"/v1/projects/{world.project_id}/criteria", json=criteria)["version"]
    path = f"/v1/routes/{world.route_id}/criteria"
    refusal(world.call(CONTRACTOR, "PUT", f"{path}/acknowledgement", json={"version": version}), 409)
    assert world.ask(ENGINEER, "PUT", path, json={"version": version})["criteria_version"] == 1
    for _ in range(2):
        bound = world.ask(CONTRACTOR, "PUT", f"{path}/acknowledgement", json={"version": version})
        assert (bound["criteria_version"], bound["proposed_criteria_version"]) == (version, None)
    assert world.status()["fibres_waiting"] == 24


def test_criteria_with_one_code_twice_are_refused(judged: World) -> None:
    criteria = read_demo("criteria")
    twice = {**criteria, "criteria": [*criteria["criteria"], criteria["criteria"][0]]}
    problem = refusal(judged.call(ENGINEER, "POST", f"/v1/projects/{judged.project_id}/criteria", json=twice), 422)
    assert problem["errors"] == [{"pointer": "", "detail": "two criteria have one code"}]
