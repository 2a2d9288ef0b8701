"""Files addressed by the SHA-256 of their content: a folder that any number of hosts may share."""

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BufferedReader
from pathlib import Path
from typing import IO

from service.vocabulary.canonical import sha256_hex

_PIECE_BYTES = 256 * 1024


class BlobMissingError(Exception):
    """No file with this SHA-256 is kept, or its bytes are no longer those."""


class BlobStore:
    """A folder of files that are written once and checked at each reading."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, content: bytes) -> str:
        """Keep bytes and return their SHA-256; they are on disk, whole, when this returns."""
        with self.receive() as incoming:
            incoming.write(content)
            return incoming.keep()

    @contextmanager
    def receive(self) -> Iterator["IncomingBlob"]:
        """Open a file to write piece by piece; it is gone afterwards unless it was kept."""
        self._folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=self._folder, prefix="incoming-", delete=False) as file:
            try:
                yield IncomingBlob(file, self._path)
            finally:
                Path(file.name).unlink(missing_ok=True)

    def size(self, sha256: str) -> int:
        """Return how many bytes the file with this SHA-256 has."""
        try:
            return self._path(sha256).stat().st_size
        except FileNotFoundError as error:
            raise BlobMissingError(sha256) from error

    def get(self, sha256: str) -> bytes:
        """Return the bytes with this SHA-256."""
        try:
            content = self._path(sha256).read_bytes()
        except FileNotFoundError as error:
            raise BlobMissingError(sha256) from error
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

    def _path(self, sha256: str) -> Path:
        return self._folder / sha256[:2] / sha256


class IncomingBlob:
    """Bytes on their way in: their SHA-256 is known at their end."""

    def __init__(self, file: IO[bytes], path_of: Callable[[str], Path]) -> None:
        self._file, self._path_of, self._digest = file, path_of, hashlib.sha256()

    def write(self, content: bytes) -> None:
        """Add bytes."""
        self._digest.update(content)
        self._file.write(content)

    @property
    def sha256(self) -> str:
        """The SHA-256 of what was written so far."""
        return self._digest.hexdigest()

    def keep(self) -> str:
        """Keep what was written and return its SHA-256; it is on disk, whole, when this returns."""
        sha256 = self.sha256
        path = self._path_of(sha256)
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file.flush()
        os.fsync(self._file.fileno())
        # A file that is there already is replaced all the same: it may be damaged, or not yet safe on disk.
        Path(self._file.name).replace(path)
        for folder in (path.parent, path.parent.parent):
            _sync_folder(folder)
        return sha256


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
