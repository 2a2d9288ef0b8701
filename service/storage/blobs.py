"""Files addressed by the SHA-256 of their content: a folder that any number of hosts may share."""

import hashlib
import os
import tempfile
from io import BufferedReader
from pathlib import Path

from service.vocabulary.canonical import sha256_hex


class BlobMissingError(Exception):
    """No file with this SHA-256 is kept, or its bytes are no longer those."""


class BlobStore:
    """A folder of files that are written once and checked at each reading."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, content: bytes) -> str:
        """Keep bytes and return their SHA-256; they are on disk, whole, when this returns."""
        sha256 = sha256_hex(content)
        path = self._path(sha256)
        path.parent.mkdir(parents=True, exist_ok=True)
        # A file that is there already is replaced all the same: it may be damaged, or not yet safe on disk.
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
            try:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            except OSError:
                Path(file.name).unlink()
                raise
        Path(file.name).replace(path)
        for folder in (path.parent, self._folder):
            _sync_folder(folder)
        return sha256

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

    def _path(self, sha256: str) -> Path:
        return self._folder / sha256[:2] / sha256


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
