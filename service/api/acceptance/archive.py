"""A package as one ZIP file, made while it is sent: no part of it is held in memory."""

import zipfile
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import datetime
from io import RawIOBase

MANIFEST = "MANIFEST.sha256"
_OWNER_WRITES_GROUP_READS = 0o640 << 16


class _Sink(RawIOBase):
    """What a ZIP is written to, and taken from in between; it cannot seek, so sizes follow each entry."""

    def __init__(self) -> None:
        self._waiting: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, content: object) -> int:
        written = bytes(content)  # type: ignore[call-overload]
        self._waiting.append(written)
        return len(written)

    def take(self) -> bytes:
        """Return what was written since the last time."""
        content = b"".join(self._waiting)
        self._waiting.clear()
        return content


def write_manifest(digests: Mapping[str, str], *, missing: Collection[str]) -> str:
    """Write what `sha256sum --check` reads: a line for each file, and a comment for each that is missing."""
    here = [f"{sha256}  {name}\n" for name, sha256 in digests.items()]
    return "".join([*here, *(f"# {sha256}  missing: named by a record, not sent in\n" for sha256 in missing)])


def zipped(
    digests: Mapping[str, str], *, manifest: str, read: Callable[[str], Iterable[bytes]], made_at: datetime
) -> Iterator[bytes]:
    """Give a ZIP of files, by name and SHA-256, and of their manifest, in pieces."""
    sink = _Sink()
    with zipfile.ZipFile(sink, "w", compression=zipfile.ZIP_DEFLATED) as archive:
        for name, sha256 in digests.items():
            with archive.open(_entry(name, made_at), "w", force_zip64=True) as entry:
                for piece in read(sha256):
                    entry.write(piece)
                    yield sink.take()
        archive.writestr(_entry(MANIFEST, made_at), manifest)
    yield sink.take()


def _entry(name: str, made_at: datetime) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=made_at.timetuple()[:6])
    entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, _OWNER_WRITES_GROUP_READS
    return entry
