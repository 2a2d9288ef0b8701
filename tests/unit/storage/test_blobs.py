"""Files are written whole or not at all, and read as they were written or not at all."""

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from service.storage.blobs import (
    BlobMissingError,
    BlobStorageError,
    BlobStorageFullError,
    BlobStore,
    FilesState,
)
from tests.integration.small_disks import let_read_only, let_write, small_disk

CONTENT = b"a trace" * 100_000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "blobs"


def test_what_is_put_is_read_again(folder: Path) -> None:
    store = BlobStore(folder)
    assert store.get(store.put(CONTENT)) == CONTENT


def test_an_altered_file_is_noticed(folder: Path) -> None:
    store = BlobStore(folder)
    sha256 = store.put(CONTENT)
    path = next(folder.glob("*/*"))
    path.write_bytes(CONTENT[:-1] + b"E")
    with pytest.raises(BlobMissingError):
        store.get(sha256)


@pytest.mark.parametrize("damage", [b"", CONTENT[:1000], b"x" + CONTENT[1:]])
def test_putting_content_again_mends_a_damaged_file(folder: Path, damage: bytes) -> None:
    store = BlobStore(folder)
    sha256 = store.put(CONTENT)
    next(folder.glob("*/*")).write_bytes(damage)
    store.put(CONTENT)
    assert store.get(sha256) == CONTENT


def test_a_file_that_is_not_there_is_missing(folder: Path) -> None:
    with pytest.raises(BlobMissingError):
        BlobStore(folder).get("0" * 64)


@pytest.mark.slow
def test_on_a_full_disk_nothing_is_left_behind_and_with_room_it_is_kept(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", size_bytes=1_000_000) as disk:
        store = BlobStore(disk)
        first = store.put(CONTENT[:400_000])
        with pytest.raises(BlobStorageFullError):
            store.put(CONTENT)
        with pytest.raises(BlobStorageFullError), store.receive() as incoming:
            for _ in range(100_000):
                incoming.write(CONTENT[:100])
            incoming.settle()
        assert [path.name for path in disk.rglob("*") if path.is_file()] == [first]
        (disk / first[:2] / first).unlink()
        assert store.get(store.put(CONTENT)) == CONTENT


@pytest.mark.slow
def test_what_is_full_or_may_not_be_written_says_so(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", size_bytes=1_000_000) as disk:
        store = BlobStore(disk, reserve_bytes=500_000)
        kept = store.put(b"x")
        assert store.state() is FilesState.READY
        with store.receive() as incoming:
            incoming.write(CONTENT[:600_000])
            incoming.settle()
            assert store.state() is FilesState.FULL
            with pytest.raises(BlobStorageFullError), store.receive_from_outside():
                pass
        assert store.state() is FilesState.READY
        let_read_only(disk)
        assert store.state() is FilesState.NOT_WRITABLE
        with pytest.raises(BlobStorageError, match="Read-only"):
            store.put(CONTENT)
        assert store.get(kept) == b"x"
        let_write(disk)
        assert store.state() is FilesState.READY
        assert [path.name for path in disk.rglob("*") if path.is_file()] == [kept]


def test_a_folder_that_can_not_be_takes_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    store = BlobStore(tmp_path / "file" / "blobs")
    assert store.state() is FilesState.NOT_WRITABLE
    with pytest.raises(BlobStorageError):
        store.put(CONTENT)


# A limit of the process, for which no disk has to be mounted.
LIMITED = """
import resource, signal, sys
from pathlib import Path
from service.storage.blobs import BlobStorageFullError, BlobStore
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
folder = Path(sys.argv[1])
store = BlobStore(folder)
try:
    store.put(b"x" * 200_000)
except BlobStorageFullError:
    sys.exit(len([path for path in folder.rglob("*") if path.is_file()]) or len(store.get(store.put(b"y"))) - 1)
sys.exit(9)
"""


def test_beyond_the_longest_file_that_a_process_may_write_nothing_is_left_behind(folder: Path) -> None:
    assert subprocess.run([sys.executable, "-c", LIMITED, str(folder)], check=False).returncode == 0


def test_what_a_killed_process_left_is_swept_after_a_day_and_what_is_on_its_way_is_not(folder: Path) -> None:
    store = BlobStore(folder)
    kept = store.put(CONTENT)
    left, under_way = folder / "incoming-left", folder / "incoming-under-way"
    for path, age_s in ((left, 24 * 3600 + 60), (under_way, 24 * 3600 - 60), (folder / kept[:2] / kept, 10**7)):
        path.touch()
        then = path.stat().st_mtime - age_s
        os.utime(path, (then, then))
    assert store.sweep() == 1
    assert (left.exists(), under_way.exists(), store.get(kept)) == (False, True, CONTENT)
    assert store.sweep() == 0


def test_a_reader_never_sees_half_a_file_and_writers_do_not_disturb_each_other(folder: Path) -> None:
    store = BlobStore(folder)
    contents = [bytes([number]) * 300_000 for number in range(4)]

    def put_and_get(content: bytes) -> bytes:
        return store.get(store.put(content))

    with ThreadPoolExecutor(8) as threads:
        assert list(threads.map(put_and_get, contents * 25)) == contents * 25
    assert len([path for path in folder.rglob("*") if path.is_file()]) == len(contents)
