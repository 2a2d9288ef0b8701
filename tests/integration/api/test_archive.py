"""A package as a ZIP: whole, checked by another program, and never held in memory."""

import subprocess
import tracemalloc
import zipfile
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from service.api.acceptance.archive import MANIFEST, zipped
from service.storage.blobs import BlobStore
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import PHOTOGRAPH, PROBLEM, newest_package, send_evidence
from tests.integration.api.conftest import OpenWorld
from tests.world import World, open_project, read_demo

ATTACHED = ["criteria.json", "design.json", "findings.json", "package.json", "records.json"]


def fetch(world: World, package: Any, what: str) -> Any:
    return world.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{package['id']}/{what}")


def archived(answer: Any) -> dict[str, bytes]:
    """Return the files of an archive, in order."""
    with zipfile.ZipFile(BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def checked_outside(answer: Any, folder: Path) -> int:
    """Return how many files of an archive another program finds to be those of its manifest."""
    with zipfile.ZipFile(BytesIO(answer.content)) as archive:
        archive.extractall(folder)
    checked = subprocess.run(
        ["sha256sum", "--check", "--strict", MANIFEST], cwd=folder, capture_output=True, text=True, check=True
    )
    return checked.stdout.count(": OK")


@pytest.mark.parametrize("state", ["issued", "decided"])
def test_it_holds_the_file_and_its_data_and_its_manifest_checks_out(
    open_world: OpenWorld, tmp_path: Path, state: str
) -> None:
    world = open_world(state)
    package = newest_package(world)
    answer, pdf = fetch(world, package, "archive"), fetch(world, package, "pdf").content
    assert answer.headers["content-disposition"] == 'attachment; filename="OT-07-1.zip"'
    assert answer.headers["etag"] == f'"{sha256(archived(answer)[MANIFEST]).hexdigest()}"'
    files = archived(answer)
    photograph = f"evidence/{sha256(PHOTOGRAPH).hexdigest()}.jpg"
    assert list(files) == ["package.pdf", *(f"attached/{name}" for name in ATTACHED), photograph, MANIFEST]
    assert (files["package.pdf"], files[photograph]) == (pdf, PHOTOGRAPH)
    inside = PdfReader(BytesIO(pdf)).attachments
    assert {name: files[f"attached/{name}"] for name in ATTACHED} == {
        name: contents[0] for name, contents in inside.items()
    }
    assert checked_outside(answer, tmp_path) == 2 + len(ATTACHED)


def test_what_records_name_and_nobody_sent_is_said_to_be_missing(open_world: OpenWorld) -> None:
    world = open_world("issued")
    package = newest_package(world)
    named = {digest for record in read_demo("03_sealing")["records"] for digest in record["photographs_sha256"]}
    here = sha256(PHOTOGRAPH).hexdigest()
    lines = archived(fetch(world, package, "archive"))[MANIFEST].decode().splitlines()
    assert [line for line in lines if line.startswith("#")] == [
        f"# {digest}  missing: named by a record, not sent in" for digest in sorted(named - {here})
    ]
    assert package["evidence"] == {"named": len(named), "received": 1}


def test_evidence_that_comes_after_the_package_is_in_its_archive_from_then_on(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("decided")
    package, before = newest_package(world), fetch(world, newest_package(world), "archive")
    late = b"seal/C1/1/photograph/2"
    assert send_evidence(world, late, media_type="image/png").status_code == 201
    assert send_evidence(world, b"nothing names this").status_code == 201
    after = fetch(world, package, "archive")
    assert set(archived(after)) - set(archived(before)) == {f"evidence/{sha256(late).hexdigest()}.png"}
    assert after.headers["etag"] != before.headers["etag"]
    assert checked_outside(after, tmp_path) == 3 + len(ATTACHED)
    again = newest_package(world)
    assert again["evidence"]["received"] == 2
    assert {**again, "evidence": None} == {**package, "evidence": None}


def test_evidence_of_another_project_is_missing_here(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    other = replace(world, tokens={TokenKind.ADMINISTRATOR: world.tokens[TokenKind.ADMINISTRATOR]})
    project = {"code": "TFN-2026-9", "name": "Reedmere", "owner": "Reedmere Trust", "contractor": "Sorrel Cable"}
    open_project(other, project=project, people={})
    before = fetch(world, newest_package(world), "archive").content
    assert send_evidence(other, b"seal/C1/1/photograph/2").status_code == 201
    assert fetch(world, newest_package(world), "archive").content == before


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
    large = "0" * 64
    (tmp_path / large[:2]).mkdir()
    with (tmp_path / large[:2] / large).open("wb") as file:
        file.truncate(100_000_000)
    tracemalloc.start()
    size, digest = 0, sha256()
    made_at = datetime(2026, 3, 20, tzinfo=UTC)
    for piece in zipped({"large": large}, manifest="", read=BlobStore(tmp_path).pieces, made_at=made_at):
        size += len(piece)
        digest.update(piece)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert size > 90_000
    assert peak < 5_000_000
