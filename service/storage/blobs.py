"""Files addressed by the SHA-256 of their content: a folder that any number of hosts may share."""

import errno
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from enum import StrEnum
from io import BufferedReader
from pathlib import Path
from typing import IO

from service.vocabulary.canonical import sha256_hex

_PIECE_BYTES = 256 * 1024
_INCOMING = "incoming-"
# Longer than any request takes; what is older was left by a process that was killed.
_LEFT_AFTER_S = 24 * 60 * 60
# The disk, a user's share of it, or the longest file that it takes.
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


class BlobMissingError(Exception):
    """No file with this SHA-256 is kept, or its bytes are no longer those."""


class BlobStorageError(Exception):
    """No file can be kept now; nothing of this one was."""


class BlobStorageFullError(BlobStorageError):
    """There is no room for this file."""


class FilesState(StrEnum):
    """Whether files can be kept."""

    READY = "ready"
    FULL = "full"
    NOT_WRITABLE = "not_writable"


class BlobStore:
    """A folder of files that are written once and checked at each reading.

    `reserve_bytes` stay free when files are taken in from outside: on a disk that it shares, PostgreSQL needs them.
    """

    def __init__(self, folder: Path, *, reserve_bytes: int = 0) -> None:
        self._folder, self._reserve_bytes = folder, reserve_bytes

    def put(self, content: bytes) -> str:
        """Keep bytes and return their SHA-256; they are on disk, whole, when this returns."""
        with self.receive() as incoming:
            incoming.write(content)
            return incoming.keep()

    @contextmanager
    def receive(self) -> Iterator["IncomingBlob"]:
        """Open a file to write piece by piece; it is gone afterwards unless it was kept."""
        with _keeping():
            self._folder.mkdir(parents=True, exist_ok=True)
            descriptor, name = tempfile.mkstemp(dir=self._folder, prefix=_INCOMING)
        file = os.fdopen(descriptor, "wb")
        try:
            yield IncomingBlob(file, Path(name), self._path)
        finally:
            Path(name).unlink(missing_ok=True)
            # What is still to be written belongs to a file that is gone.
            with suppress(OSError):
                file.close()

    @contextmanager
    def receive_from_outside(self) -> Iterator["IncomingBlob"]:
        """Open a file for what somebody sends in, unless so little room is left that the service itself needs it."""
        with self.receive() as incoming:
            if self._is_short_of_room():
                raise BlobStorageFullError("What room is left is the service's own.")
            yield incoming

    def state(self) -> FilesState:
        """Return whether files from outside can be kept, having tried it."""
        try:
            with self.receive() as incoming:
                incoming.write(b"x")
                incoming.settle()
            return FilesState.FULL if self._is_short_of_room() else FilesState.READY
        except BlobStorageFullError:
            return FilesState.FULL
        except BlobStorageError:
            return FilesState.NOT_WRITABLE

    def sweep(self) -> int:
        """Remove what processes that were killed left behind, by the clock of the disk; return how many files."""
        with self.receive() as incoming:
            now_s = incoming.made_at_s
            left = [path for path in self._folder.glob(f"{_INCOMING}*") if _is_older(path, now_s - _LEFT_AFTER_S)]
        for path in left:
            path.unlink(missing_ok=True)
        return len(left)

    def size(self, sha256: str) -> int:
        """Return how many bytes the file with this SHA-256 has."""
        with self.open(sha256) as file:
            return os.fstat(file.fileno()).st_size

    def get(self, sha256: str) -> bytes:
        """Return the bytes with this SHA-256."""
        with self.open(sha256) as file:
            content = file.read()
        if sha256_hex(content) != sha256:
            raise BlobMissingError(f"{sha256} reads otherwise")
        return content

    def check(self, sha256: str) -> None:
        """Make sure that the bytes with this SHA-256 are there and are still those, without holding them."""
        with self.open(sha256) as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != sha256:
                raise BlobMissingError(f"{sha256} reads otherwise")

    def open(self, sha256: str) -> BufferedReader:
        """Open the file of the bytes with this SHA-256, as it is: for what is too large to be held."""
        try:
            return self._path(sha256).open("rb")
        except FileNotFoundError as error:
            raise BlobMissingError(sha256) from error

    def pieces(self, sha256: str) -> Iterator[bytes]:
        """Give the bytes with this SHA-256 piece by piece, as they are."""
        with self.open(sha256) as file:
            while piece := file.read(_PIECE_BYTES):
                yield piece

    def _is_short_of_room(self) -> bool:
        with _keeping():
            room = os.statvfs(self._folder)
        return room.f_bavail * room.f_frsize < self._reserve_bytes

    def _path(self, sha256: str) -> Path:
        return self._folder / sha256[:2] / sha256


class IncomingBlob:
    """Bytes on their way in: their SHA-256 is known at their end."""

    def __init__(self, file: IO[bytes], name: Path, path_of: Callable[[str], Path]) -> None:
        self._file, self._name, self._path_of, self._digest = file, name, path_of, hashlib.sha256()

    def write(self, content: bytes) -> None:
        """Add bytes."""
        self._digest.update(content)
        with _keeping():
            self._file.write(content)

    def settle(self) -> None:
        """Have what was written so far on disk when this returns."""
        with _keeping():
            self._file.flush()
            os.fsync(self._file.fileno())

    @property
    def made_at_s(self) -> float:
        """When the file was begun or last written to, by the clock of the disk."""
        return os.fstat(self._file.fileno()).st_mtime

    @property
    def sha256(self) -> str:
        """The SHA-256 of what was written so far."""
        return self._digest.hexdigest()

    def keep(self) -> str:
        """Keep what was written and return its SHA-256; it is on disk, whole, when this returns."""
        sha256 = self.sha256
        path = self._path_of(sha256)
        self.settle()
        with _keeping():
            path.parent.mkdir(parents=True, exist_ok=True)
            # A file that is there already is replaced all the same: it may be damaged, or not yet safe on disk.
            self._name.replace(path)
            for folder in (path.parent, path.parent.parent):
                _sync_folder(folder)
        return sha256


@contextmanager
def _keeping() -> Iterator[None]:
    """Say of what goes wrong with the disk that no file can be kept."""
    try:
        yield
    except OSError as error:
        kind = BlobStorageFullError if error.errno in _FULL else BlobStorageError
        raise kind(error.strerror or "the disk takes no file") from error


def _is_older(path: Path, than_s: float) -> bool:
    try:
        return path.stat().st_mtime < than_s
    except FileNotFoundError:
        # Its request ended meanwhile.
        return False


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
