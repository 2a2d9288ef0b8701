"""What the parties do on the demo's route, and how a refusal is read."""

from typing import Any

import httpx

from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.signing_people import Signatory
from tests.world import World

# The content whose SHA-256 the demo's first sealing names as a photograph.
PHOTOGRAPH = b"seal/C1/1/photograph/1"
PROBLEM = "application/problem+json"
CONCESSION = {
    "criterion": "splice-1550",
    "fibre": 20,
    "site": "C5",
    "position": 1,
    "reason": "the cut-over is on Friday",
}


def submit(world: World, **changes: Any) -> httpx.Response:
    """Submit both segments of the demo's route, with the concession that east needs."""
    return world.submit(**{"segments": ["west", "east"], "concessions": [CONCESSION], **changes})


def newest_package(world: World) -> Any:
    """Return the package of the newest submission."""
    package_id = world.status()["segments"][0]["package_id"]
    return world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{package_id}")


def decision_form(package: Any, **changes: Any) -> dict[str, Any]:
    """Return a decision that accepts west and refuses east."""
    words = {"west": "accepted", "east": "refused"}
    return {"package_sha256": package["certified_sha256"], "segments": words, **changes}


def decide(world: World, *, etag: str | None = None, **changes: Any) -> httpx.Response:
    """Decide the newest package as the engineer, having seen its current file."""
    package = newest_package(world)
    headers = {"If-Match": f'"{package["current_sha256"]}"' if etag is None else etag}
    form = decision_form(package, **changes)
    path = f"/v1/packages/{package['id']}/decision"
    return world.call(TokenKind.ENGINEER, "POST", path, json=form, headers=headers)


def register_certificate(world: World, person_id: str, signatory: Signatory) -> Any:
    """Register a person's certificate as the administrator."""
    path = f"/v1/projects/{world.project_id}/people/{person_id}/certificates"
    return world.ask(TokenKind.ADMINISTRATOR, "POST", path, json={"pem": signatory.pem})


def let_hold(world: World, kind: TokenKind, person_id: str) -> None:
    """Let a person hold the tokens of a kind, whosever that person is: an earlier release issued such."""
    with world.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE token SET holder = %s WHERE kind = %s", (person_id, kind.value))


def send_in(world: World, package: Any, role: str, pdf: bytes, *, etag: str | None = None) -> httpx.Response:
    """Send in a signed file, as the party whose signature it holds."""
    headers = {"Content-Type": "application/pdf", "If-Match": etag or f'"{package["current_sha256"]}"'}
    path = f"/v1/packages/{package['id']}/signatures/{role}"
    return world.call(TokenKind(role), "PUT", path, content=pdf, headers=headers)


def send_evidence(
    world: World, content: bytes, *, sha256: str | None = None, media_type: str = "image/jpeg"
) -> httpx.Response:
    """Send in a file as the crew, under its own SHA-256 unless another is given."""
    path = f"/v1/projects/{world.project_id}/evidence/{sha256 or sha256_hex(content)}"
    return world.call(TokenKind.CREW, "PUT", path, content=content, headers={"Content-Type": media_type})


def refusal(answer: httpx.Response, status: int) -> dict[str, Any]:
    """Return the problem of an answer that is a refusal with this status."""
    assert answer.status_code == status, (answer.status_code, answer.text[:2000])
    assert answer.headers["content-type"] == PROBLEM
    problem: dict[str, Any] = answer.json()
    assert problem["status"] == status
    assert problem["type"].startswith("urn:route-acceptance:problem:")
    return problem


def pointers(problem: dict[str, Any]) -> list[str]:
    """Return where a problem's errors are."""
    return [error["pointer"] for error in problem.get("errors", [])]


def records_path(world: World) -> str:
    return f"/v1/routes/{world.route_id}/records"
