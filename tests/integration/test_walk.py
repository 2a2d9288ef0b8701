"""The walk from record to money, with the demo's records."""

from typing import Any

import httpx

from service.vocabulary.words import TokenKind
from tests.world import World, read_demo

CONCESSION = {
    "criterion": "splice-1550",
    "fibre": 20,
    "site": "C5",
    "position": 1,
    "reason": "the cut-over is on Friday",
}


def test_the_demo_route_is_judged_submitted_decided_and_told_to_billing(demo_world: World) -> None:
    world = demo_world
    _post(world, "01_splicing")
    assert _asked(world, "re_splice") == [("C2", 7), ("C4", 18)]
    _post(world, "02_re_splices")
    assert _asked(world, "re_splice") == []
    for name in ("03_sealing", "04_otdr", "05_attenuation"):
        _post(world, name)
    assert _standings(world) == {"west": "conforming", "east": "nonconforming"}
    assert _asked(world, "relieve_bend") == [("C5", 20)]

    first = _submit(world, ["west", "east"], concessions=[CONCESSION])
    _decide(world, first, {"west": "accepted", "east": "refused"})
    assert _standings(world) == {"west": "accepted", "east": "refused"}

    _post(world, "06_repair")
    assert _standings(world)["east"] == "in_progress"
    _post(world, "07_retest")
    assert _standings(world) == {"west": "accepted", "east": "conforming"}
    second = _submit(world, ["east"], concessions=[])
    _decide(world, second, {"east": "accepted"})

    notices = world.ask(TokenKind.BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    assert [one["data"]["segment_id"] for one in notices] == ["west", "east"]
    assert [int(one["sequence"]) for one in notices] == [1, 2]
    assert [one["data"]["package_sha256"] for one in notices] == [first["certified_sha256"], second["certified_sha256"]]


def _post(world: World, name: str) -> None:
    world.record(read_demo(name)["records"])


def _asked(world: World, act: str) -> list[tuple[str, int]]:
    return [(item["sites"][0], item["fibre"]) for item in world.worklist() if item["act"] == act]


def _standings(world: World) -> dict[str, str]:
    return {segment["id"]: segment["status"] for segment in world.status()["segments"]}


def _submit(world: World, segments: list[str], *, concessions: list[Any]) -> Any:
    made = world.submit(segments, concessions=concessions)
    assert made.status_code == httpx.codes.ACCEPTED, made.text
    world.drain()
    submission = world.ask(TokenKind.CONTRACTOR, "GET", made.headers["Location"])
    assert submission["state"] == "issued"
    return world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{submission['package_id']}")


def _decide(world: World, package: Any, words: dict[str, str]) -> None:
    form = {"package_sha256": package["certified_sha256"], "segments": words}
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    world.ask(TokenKind.ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=form, headers=headers)
    world.drain()
