"""A package as a ZIP: whole, checked by another program, and never held in memory."""

import subprocess
import tracemalloc
import zipfile
from datetime import UTC, datetime
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from service.api.archive import MANIFEST, zipped
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import PROBLEM, newest_package
from tests.integration.api.conftest import OpenWorld
from tests.world import World

pytestmark = pytest.mark.slow
ATTACHED = ["criteria.json", "design.json", "findings.json", "package.json", "records.json"]


def fetch(world: World, package: Any, what: str) -> Any:
    return world.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{package['id']}/{what}")


@pytest.mark.parametrize("state", ["issued", "decided"])
def test_it_holds_the_file_and_its_data_and_its_manifest_checks_out(
    open_world: OpenWorld, tmp_path: Path, state: str
) -> None:
    world = open_world(state)
    package = newest_package(world)
    answer, pdf = fetch(world, package, "archive"), fetch(world, package, "pdf").content
    assert answer.headers["content-disposition"] == 'attachment; filename="OT-07-1.zip"'
    assert answer.headers["etag"] == fetch(world, package, "pdf").headers["etag"]
    with zipfile.ZipFile(BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == ["package.pdf", *(f"attached/{name}" for name in ATTACHED), MANIFEST]
        assert archive.read("package.pdf") == pdf
        inside = PdfReader(BytesIO(pdf)).attachments
        assert {name: archive.read(f"attached/{name}") for name in ATTACHED} == {
            name: contents[0] for name, contents in inside.items()
        }
        archive.extractall(tmp_path)
    checked = subprocess.run(
        ["sha256sum", "--check", "--strict", MANIFEST], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert checked.stdout.count(": OK") == 1 + len(ATTACHED)


def test_the_same_package_gives_the_same_bytes(open_world: OpenWorld) -> None:
    world = open_world("issued")
    package = newest_package(world)
    assert fetch(world, package, "archive").content == fetch(world, package, "archive").content


def test_the_findings_that_are_answered_are_those_inside_the_file(open_world: OpenWorld) -> None:
    world = open_world("issued")
    package = newest_package(world)
    [inside] = PdfReader(BytesIO(fetch(world, package, "pdf").content)).attachments["findings.json"]
    assert fetch(world, package, "findings").content == inside


def test_a_damaged_file_is_never_sent(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    package = newest_package(world)
    digest = package["findings_sha256"]
    file = world.settings.blob_dir / digest[:2] / digest
    whole = file.read_bytes()
    file.write_bytes(b"{}")
    try:
        answer = fetch(world, package, "archive")
        assert (answer.status_code, answer.headers["content-type"]) == (500, PROBLEM)
    finally:
        # Every world of these tests keeps its files there.
        file.write_bytes(whole)


def test_of_a_large_file_only_a_piece_is_in_memory(tmp_path: Path) -> None:
    large = tmp_path / "large"
    with large.open("wb") as file:
        file.truncate(100_000_000)
    tracemalloc.start()
    size, digest = 0, sha256()
    for piece in zipped(
        {"large": "0" * 64}, open_file=lambda _: large.open("rb"), made_at=datetime(2026, 3, 20, tzinfo=UTC)
    ):
        size += len(piece)
        digest.update(piece)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert size > 90_000
    assert peak < 5_000_000
