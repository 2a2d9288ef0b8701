"""Files are written whole or not at all, and read as they were written or not at all."""

import errno
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from service.storage.blobs import BlobMissingError, BlobStore

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


def test_a_write_that_fails_leaves_nothing_behind(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = BlobStore(folder)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "no space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(OSError, match="no space"):
            store.put(CONTENT)
    assert [path for path in folder.rglob("*") if path.is_file()] == []
    assert store.get(store.put(CONTENT)) == CONTENT


def test_a_reader_never_sees_half_a_file_and_writers_do_not_disturb_each_other(folder: Path) -> None:
    store = BlobStore(folder)
    contents = [bytes([number]) * 300_000 for number in range(4)]

    def put_and_get(content: bytes) -> bytes:
        return store.get(store.put(content))

    with ThreadPoolExecutor(8) as threads:
        assert list(threads.map(put_and_get, contents * 25)) == contents * 25
    assert len([path for path in folder.rglob("*") if path.is_file()]) == len(contents)
