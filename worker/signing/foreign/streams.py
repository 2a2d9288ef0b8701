"""How streams are packed: by a few known ways, to a bounded size, and unpacked piece by piece until it is known."""

import base64
import binascii
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from worker.signing.foreign.values import ExcessError, Name

_PIECE_BYTES = 1 << 16
_FLATE, _ASCII = "/FlateDecode", ("/ASCII85Decode", "/ASCIIHexDecode")
# How pictures are packed is never undone here: nothing that reads packages draws them.
_PICTURES = ("/DCTDecode", "/JPXDecode", "/CCITTFaxDecode", "/JBIG2Decode")
# Text of 85 characters is turned into bytes slowly, and holds an appearance at most.
_LONGEST_ASCII = 1 << 20
_WIDEST_ROW = 1 << 16
_FIRST_PNG = 10


@dataclass
class Unpacking:
    """How many bytes one stream may unpack to, and how many all of them together still may."""

    most_each: int
    left: int

    def measure(self, about: Mapping[str, Any], raw: bytes) -> None:
        """Unpack a stream and keep nothing of it; what is damaged is left to whoever wants to read it."""
        try:
            for _ in self._pieces(about, raw, most=self.most_each):
                pass
        except zlib.error:
            return

    def unpack(self, about: Mapping[str, Any], raw: bytes, *, most: int, what: str) -> bytes:
        """Return what a stream holds, which has to be read before the file can be."""
        try:
            content = b"".join(self._pieces(about, raw, most=most))
        except zlib.error as error:
            raise ExcessError(f"has {what} that is damaged") from error
        return _without_predictor(content, _parameters(about), what=what)

    def _pieces(self, about: Mapping[str, Any], raw: bytes, *, most: int) -> Iterator[bytes]:
        filters = _filters(about)
        size = 0
        for piece in _inflated(_plain(raw, filters), is_packed=_FLATE in filters):
            size += len(piece)
            self.left -= len(piece)
            if size > most:
                raise ExcessError(f"has a stream that unpacks to more than {most:,} bytes")
            if self.left < 0:
                raise ExcessError("has streams that unpack to more than a package needs")
            yield piece


def _filters(about: Mapping[str, Any]) -> Sequence[str]:
    named = about.get("/Filter")
    filters: list[Any] = named if isinstance(named, list) else [] if named is None else [named]
    if not all(isinstance(one, Name) for one in filters) or not _is_known(list(map(str, filters))):
        raise ExcessError("has a stream packed in a way that no package needs")
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


def _plain(raw: bytes, filters: Sequence[str]) -> bytes:
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


def _inflated(packed: bytes, *, is_packed: bool) -> Iterator[bytes]:
    if not is_packed:
        yield packed
        return
    unpacker, rest = zlib.decompressobj(), packed
    while rest and not unpacker.eof:
        yield unpacker.decompress(rest, _PIECE_BYTES)
        rest = unpacker.unconsumed_tail


def _without_predictor(content: bytes, parameters: Mapping[str, Any], *, what: str) -> bytes:
    """Undo the preparation of rows that tools use for cross-references (ISO 32000-1, 7.4.4.4): none, sub and up."""
    if not parameters:
        return content
    bits = parameters.get("/Colors", 1) * parameters.get("/BitsPerComponent", 8)
    width = parameters.get("/Columns", 1)
    if parameters["/Predictor"] < _FIRST_PNG or bits != 8 or len(content) % (width + 1):
        raise ExcessError(f"has {what} packed in a way that no package needs")
    rows, before = [], bytes(width)
    for at in range(0, len(content), width + 1):
        before = _row(content[at], content[at + 1 : at + 1 + width], before, what=what)
        rows.append(before)
    return b"".join(rows)


def _row(kind: int, row: bytes, before: bytes, *, what: str) -> bytes:
    match kind:
        case 0:
            return row
        case 1:
            found = bytearray(row)
            for index in range(1, len(found)):
                found[index] = (found[index] + found[index - 1]) & 0xFF
            return bytes(found)
        case 2:
            return bytes((one + other) & 0xFF for one, other in zip(row, before, strict=True))
        case _:
            raise ExcessError(f"has {what} packed in a way that no package needs")
