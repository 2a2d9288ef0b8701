"""Evidence files: kept once under their SHA-256, whole or not at all, and open to the project's parties only."""

import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from typing import Any

import httpx
import orjson
import pytest

from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import refusal, send_evidence
from tests.integration.api.conftest import OpenWorld
from tests.world import World, open_project

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
LIMIT = 2_000_000


@pytest.fixture
def world(fresh_world: OpenWorld) -> World:
    world = fresh_world("bound")
    world.app.state.max_evidence_bytes = LIMIT
    return world


@pytest.fixture
def other(world: World) -> World:
    """Another project on the same service."""
    other = replace(world, tokens={ADMINISTRATOR: world.tokens[ADMINISTRATOR]})
    project = {"code": "TFN-2026-9", "name": "Reedmere", "owner": "Reedmere Trust", "contractor": "Sorrel Cable"}
    open_project(other, project=project, people={})
    return other


def fetch(world: World, sha256: str, **headers: str) -> httpx.Response:
    return world.call(ENGINEER, "GET", f"/v1/projects/{world.project_id}/evidence/{sha256}", headers=headers)


def kept_files(world: World) -> list[str]:
    return sorted(str(path) for path in world.settings.blob_dir.rglob("*") if path.is_file())


def entered(world: World) -> list[Any]:
    with world.engine.connect() as connection:
        return list(connection.exec_driver_sql("SELECT sha256, size_bytes, media_type FROM evidence_file ORDER BY 1"))


def deeds(world: World) -> list[tuple[str, str]]:
    statement = "SELECT entry FROM audit_entry WHERE project_id = %s ORDER BY sequence"
    with world.engine.connect() as connection:
        rows = connection.exec_driver_sql(statement, (world.project_id,)).scalars().all()
    return [(one["action"], one.get("content_sha256")) for one in map(orjson.loads, rows)]


@pytest.mark.parametrize(
    ("media_type", "ending"),
    [("image/jpeg", "jpg"), ("image/png", "png"), ("application/pdf", "pdf"), ("application/octet-stream", "bin")],
)
def test_what_is_sent_in_is_read_back_as_it_was_and_never_shown_by_a_browser(
    world: World, media_type: str, ending: str
) -> None:
    content = b"<script>alert(1)</script>" * 30_000
    sent = send_evidence(world, content, media_type=media_type)
    digest = sha256_hex(content)
    assert (sent.status_code, sent.json()["size_bytes"], sent.json()["media_type"]) == (201, len(content), media_type)
    read = fetch(world, digest)
    assert (read.content, read.headers["content-type"]) == (content, media_type)
    assert read.headers["content-disposition"] == f'attachment; filename="{digest}.{ending}"'
    assert (read.headers["x-content-type-options"], read.headers["etag"]) == ("nosniff", f'"{digest}"')
    assert deeds(world)[-1] == ("evidence.received", digest)


def test_the_same_file_again_is_kept_and_audited_once(world: World) -> None:
    first, again = send_evidence(world, b"photograph"), send_evidence(world, b"photograph")
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert deeds(world).count(("evidence.received", sha256_hex(b"photograph"))) == 1


def test_of_the_same_file_sent_by_many_at_once_one_is_new(world: World) -> None:
    with ThreadPoolExecutor(8) as threads:
        answers = list(threads.map(lambda _: send_evidence(world, b"at once" * 10_000).status_code, range(8)))
    assert sorted(answers) == [200] * 7 + [201]
    assert deeds(world).count(("evidence.received", sha256_hex(b"at once" * 10_000))) == 1


def test_the_same_file_can_not_become_one_of_another_type(world: World) -> None:
    send_evidence(world, b"photograph")
    refusal(send_evidence(world, b"photograph", media_type="image/png"), 409)
    assert [row.media_type for row in entered(world)] == ["image/jpeg"]


def test_other_content_than_was_named_is_refused_and_not_kept(world: World) -> None:
    before, kept = deeds(world), kept_files(world)
    problem = refusal(send_evidence(world, b"half a pho", sha256=sha256_hex(b"half a photograph")), 422)
    assert problem["type"].endswith("evidence.mismatch")
    assert sha256_hex(b"half a pho") in problem["detail"]
    assert (deeds(world), kept_files(world), entered(world)) == (before, kept, [])


def _more_than_is_taken() -> Iterator[bytes]:
    for _ in range(100):
        yield bytes(LIMIT // 10)


def test_a_file_at_the_limit_is_taken_and_one_byte_more_is_not(world: World) -> None:
    assert send_evidence(world, bytes(LIMIT)).status_code == 201
    kept = kept_files(world)
    assert f"At most {LIMIT} bytes" in refusal(send_evidence(world, bytes(LIMIT + 1)), 413)["detail"]
    path = f"/v1/projects/{world.project_id}/evidence/{'0' * 64}"
    # Without a length it is cut where it becomes too long: the answer may cross what we still write.
    with suppress(httpx.TransportError):
        headers = {"Content-Type": "image/jpeg"}
        refusal(world.call(CREW, "PUT", path, content=_more_than_is_taken(), headers=headers), 413)
    assert (kept_files(world), len(entered(world))) == (kept, 1)


def test_of_a_file_that_is_cut_off_nothing_is_kept(world: World) -> None:
    kept, url = kept_files(world), world.http.base_url
    path = f"/v1/projects/{world.project_id}/evidence/{sha256_hex(bytes(1_000_000))}"
    head = (
        f"PUT {path} HTTP/1.1\r\nHost: {url.host}\r\nAuthorization: Bearer {world.tokens[CREW]}\r\n"
        "Content-Type: image/jpeg\r\nContent-Length: 1000000\r\n\r\n"
    )
    with socket.create_connection((url.host, url.port or 80)) as connection:
        connection.sendall(head.encode() + bytes(400_000))
        wait_until(lambda: kept_files(world) != kept)
    wait_until(lambda: kept_files(world) == kept)
    assert entered(world) == []


def wait_until(holds: Any) -> None:
    deadline = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.01)


@pytest.mark.parametrize("headers", [{}, {"Content-Type": "text/html"}, {"Content-Type": "image/svg+xml"}])
def test_other_types_are_not_taken(world: World, headers: dict[str, str]) -> None:
    path = f"/v1/projects/{world.project_id}/evidence/{sha256_hex(b'x')}"
    refusal(world.call(CREW, "PUT", path, content=b"x", headers=headers), 415)
    packed = {"Content-Type": "image/jpeg", "Content-Encoding": "gzip"}
    refusal(world.call(CREW, "PUT", path, content=b"x", headers=packed), 415)
    assert entered(world) == []


@pytest.mark.parametrize("digest", ["0" * 63, "A" * 64, "0" * 65, "..%2f" + "0" * 59])
def test_what_is_no_digest_is_not_found(world: World, digest: str) -> None:
    refusal(send_evidence(world, b"x", sha256=digest), 404)
    refusal(fetch(world, digest), 404)


def test_a_file_of_one_project_is_not_there_in_another_until_it_is_sent_there(world: World, other: World) -> None:
    digest = sha256_hex(b"photograph")
    send_evidence(world, b"photograph")
    refusal(fetch(other, digest), 404)
    refusal(fetch(replace(other, project_id=world.project_id), digest), 404)
    refusal(send_evidence(replace(other, project_id=world.project_id), b"photograph"), 404)
    assert send_evidence(other, b"photograph", media_type="image/png").status_code == 201
    assert fetch(other, digest).headers["content-type"] == "image/png"
    assert fetch(world, digest).headers["content-type"] == "image/jpeg"


def test_a_damaged_file_is_not_read_and_is_whole_once_it_is_sent_again(world: World) -> None:
    content = b"only here " + world.project_id.encode()
    digest = sha256_hex(content)
    send_evidence(world, content)
    (world.settings.blob_dir / digest[:2] / digest).write_bytes(b"damaged")
    # The server hangs up after an answer like this: on a connection that is kept the next request would find it gone.
    assert fetch(world, digest, Connection="close").status_code == 500
    assert send_evidence(world, content).status_code == 200
    assert fetch(world, digest).content == content
