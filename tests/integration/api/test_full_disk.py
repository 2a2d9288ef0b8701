"""A full disk takes no file, whole or in part, and says so; records are posted, and what is kept is read, as ever."""

import os
import shutil
from pathlib import Path
from typing import Any
from uuid import uuid4

from service.api.app import create_app
from service.storage.blobs import BlobStore
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.api_server import serve
from tests.integration.api.acts import newest_package, refusal, send_evidence, send_in
from tests.integration.api.conftest import OpenWorld
from tests.integration.small_disks import let_read_only, let_write, small_disk
from tests.world import World, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
PHOTOGRAPH = b"a photograph " * 50_000


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def entered(world: World) -> list[Any]:
    with world.engine.connect() as connection:
        evidence = connection.exec_driver_sql("SELECT sha256 FROM evidence_file ORDER BY 1").scalars().all()
        uploads = connection.exec_driver_sql("SELECT sha256 FROM signature_upload ORDER BY 1").scalars().all()
    return [evidence, uploads]


def refused(answer: Any, code: str) -> None:
    problem = refusal(answer, 507)
    assert problem["type"].endswith(code)
    assert answer.headers["retry-after"] == "60"


def post_one(world: World) -> str:
    record = read_demo("01_splicing")["records"][1] | {"id": str(uuid4())}
    [result] = world.post_records([record])["results"]
    outcome: str = result["outcome"]
    return outcome


def test_a_full_disk_takes_no_evidence_and_every_record(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("bound")
    before = entered(world)
    with small_disk(tmp_path / "disk", size_bytes=600_000) as disk:
        world.app.state.blobs = BlobStore(disk)
        assert world.http.get("/health/ready").json()["files"] == "ready"
        # Larger than all there is, then larger than what is left: nothing stays of either.
        refused(send_evidence(world, PHOTOGRAPH), "storage.full")
        assert send_evidence(world, PHOTOGRAPH[:400_000]).status_code == 201
        refused(send_evidence(world, PHOTOGRAPH[:300_000]), "storage.full")
        assert [path.name for path in files(disk)] == [sha256_hex(PHOTOGRAPH[:400_000])]
        world.app.state.blobs = BlobStore(disk, reserve_bytes=300_000)
        refused(send_evidence(world, b"one byte more than nothing"), "storage.full")
        ready = world.http.get("/health/ready")
        assert (ready.status_code, ready.json()["files"]) == (200, "full")
        assert post_one(world) == "stored"
        files(disk)[0].unlink()
        assert send_evidence(world, b"one byte more than nothing").status_code == 201
        assert world.http.get("/health/ready").json()["files"] == "ready"
    assert len(entered(world)[0]) == len(before[0]) + 2


def test_a_full_disk_takes_no_signed_file_and_the_same_later(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("decided")
    kept = sum(path.stat().st_size for path in files(world.settings.blob_dir))
    before, package = entered(world), newest_package(world)
    with small_disk(tmp_path / "disk", size_bytes=kept + 1_500_000) as disk:
        shutil.copytree(world.settings.blob_dir, disk, dirs_exist_ok=True)
        world.app.state.blobs = BlobStore(disk)
        there = files(disk)
        refused(send_in(world, package, "engineer", b"%PDF-1.7" + b"x" * 3_000_000), "storage.full")
        assert (files(disk), entered(world)) == (there, before)
        assert world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").is_success
        assert send_in(world, package, "engineer", b"%PDF-1.7 small").status_code == 202


def test_a_folder_that_may_not_be_written_is_said_and_read_as_ever(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("bound")
    with small_disk(tmp_path / "disk", size_bytes=600_000) as disk:
        world.app.state.blobs = BlobStore(disk)
        assert send_evidence(world, b"before").status_code == 201
        let_read_only(disk)
        refused(send_evidence(world, b"meanwhile"), "storage.not_writable")
        ready = world.http.get("/health/ready")
        assert (ready.status_code, ready.json()["files"]) == (200, "not_writable")
        path = f"/v1/projects/{world.project_id}/evidence/{sha256_hex(b'before')}"
        assert world.call(ENGINEER, "GET", path).content == b"before"
        assert post_one(world) == "stored"
        let_write(disk)
        assert send_evidence(world, b"meanwhile").status_code == 201


def test_a_folder_that_cannot_be_made_is_reported_and_the_service_starts(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("bound")
    (tmp_path / "file").write_bytes(b"")
    nowhere = world.settings.model_copy(update={"blob_dir": tmp_path / "file" / "blobs"})
    app = create_app(nowhere)
    with serve(app) as http:
        started = World(**{**vars(world), "http": http, "app": app})
        refused(send_evidence(started, b"x"), "storage.not_writable")
        assert http.get("/health/ready").json()["files"] == "not_writable"
        assert post_one(started) == "stored"


def test_what_a_killed_process_left_is_swept_at_start(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("bound")
    folder = tmp_path / "blobs"
    folder.mkdir()
    left = folder / "incoming-left"
    left.write_bytes(b"half a photograph")
    os.utime(left, (0, 0))
    with serve(create_app(world.settings.model_copy(update={"blob_dir": folder}))):
        assert files(folder) == []
