"""How streams are packed: by a few known ways, to a bounded size, and unpacked piece by piece until it is known."""

import base64
import binascii
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pyhanko.pdf_utils.filters import FlateDecode

from worker.signing.pdf_values import Allowance, ExcessError, Name

_PIECE_BYTES = 1 << 16
_FLATE, _ASCII = "/FlateDecode", ("/ASCII85Decode", "/ASCIIHexDecode")
# How pictures are packed is never undone here: nothing that reads packages draws them.
_PICTURES = ("/DCTDecode", "/JPXDecode", "/CCITTFaxDecode", "/JBIG2Decode")
# Text of 85 characters is turned into bytes slowly, and holds an appearance at most.
_LONGEST_ASCII = 1 << 20
_WIDEST_ROW = 1 << 16
_OTHERWISE = "packed in a way that no package needs"


@dataclass(frozen=True)
class Unpacking:
    """How many bytes one stream may unpack to, and how many all of them together still may."""

    most_each: int
    in_all: Allowance

    def measure(self, about: Mapping[str, Any], raw: bytes) -> None:
        """Unpack a stream and keep nothing of it; what is damaged is left to whoever wants to read it."""
        try:
            self._count(about, raw, most=self.most_each)
        except zlib.error:
            return

    def unpack(self, about: Mapping[str, Any], raw: bytes, *, most: int, what: str) -> bytes:
        """Return what a stream holds, which has to be read before the file can be."""
        try:
            plain = self._count(about, raw, most=most)
            # By the library itself, at a size that is known by now: rows that it undid otherwise than we do would let a
            # file show us other places of objects than it shows the library.
            is_packed = _FLATE in _filters(about)
            return FlateDecode().decode(plain, _parameters(about)) if is_packed else plain
        except zlib.error as error:
            raise ExcessError(f"has {what} that is damaged") from error
        except (NotImplementedError, AssertionError, KeyError) as error:
            # What the library says of rows that were prepared in another way than for cross-references.
            raise ExcessError(f"has {what} {_OTHERWISE}") from error

    def _count(self, about: Mapping[str, Any], raw: bytes, *, most: int) -> bytes:
        """Return a stream that is no text any more, once it was seen to unpack to no more than it may."""
        filters = _filters(about)
        plain, size = _without_text(raw, filters), 0
        for piece_bytes in _unpacked_sizes(plain) if _FLATE in filters else [len(plain)]:
            size += piece_bytes
            if size > most:
                raise ExcessError(f"has a stream that unpacks to more than {most:,} bytes")
            self.in_all.take(piece_bytes)
        return plain


def _filters(about: Mapping[str, Any]) -> Sequence[str]:
    named = about.get("/Filter")
    filters: list[Any] = named if isinstance(named, list) else [] if named is None else [named]
    if not all(isinstance(one, Name) for one in filters) or not _is_known(filters):
        raise ExcessError(f"has a stream {_OTHERWISE}")
    _parameters(about)
    return filters


def _is_known(filters: list[str]) -> bool:
    """Tell whether filters come in the order text, compression, picture, and each kind once at most."""
    for kind in (_ASCII, (_FLATE,), _PICTURES):
        if filters and filters[0] in kind:
            filters = filters[1:]
    return not filters


def _parameters(about: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return how compressed rows were prepared, which is said for one filter at most."""
    given = about.get("/DecodeParms")
    found = [one for one in (given if isinstance(given, list) else [given]) if one is not None]
    if not all(isinstance(one, dict) for one in found):
        raise ExcessError("has a stream whose packing cannot be read")
    for one in found:
        for name, most in (("/Predictor", 15), ("/Columns", _WIDEST_ROW), ("/Colors", 32), ("/BitsPerComponent", 16)):
            if not isinstance(one.get(name, 1), int) or not 1 <= one.get(name, 1) <= most:
                raise ExcessError(f"has a stream whose {name[1:]} is out of range")
    prepared = [one for one in found if one.get("/Predictor", 1) != 1]
    return prepared[0] if prepared else {}


def _without_text(raw: bytes, filters: Sequence[str]) -> bytes:
    if not filters or filters[0] not in _ASCII:
        return raw
    if len(raw) > _LONGEST_ASCII:
        raise ExcessError(f"has a stream of more than {_LONGEST_ASCII:,} bytes written as text")
    try:
        if filters[0] == "/ASCIIHexDecode":
            return bytes.fromhex(raw.partition(b">")[0].decode("ascii"))
        text = raw.strip()
        return base64.a85decode(text if text.startswith(b"<~") else b"<~" + text, adobe=True)
    except (ValueError, binascii.Error) as error:
        raise ExcessError("has a stream of text that cannot be read") from error


def _unpacked_sizes(packed: bytes) -> Iterator[int]:
    """Unpack piece by piece and keep none: a few kilobytes can hold a gigabyte."""
    unpacker, rest = zlib.decompressobj(), packed
    while rest and not unpacker.eof:
        yield len(unpacker.decompress(rest, _PIECE_BYTES))
        rest = unpacker.unconsumed_tail
