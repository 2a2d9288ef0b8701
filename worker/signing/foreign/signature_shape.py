"""The outer shape of a signature: where it says that it covers the file, and how much its message holds (X.690)."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from worker.signing.foreign.values import ExcessError, Hexadecimal

# A signature with its chain, a time stamp and revocation lists; the longest that a tool was seen to reserve is 64 kB.
_LONGEST_MESSAGE = 2 << 20
_MOST_CERTIFICATES = 64
_MOST_VALUES = 200_000
_MAX_DEPTH = 48
_CONSTRUCTED, _INDEFINITE = 0x20, 0x80
# The first of what is tagged: of a message its content, of signed data the certificates.
_EXPLICIT = 0xA0
_BROKEN = "has a signature whose message cannot be read"


def check_signature(about: Mapping[str, Any], *, file_bytes: int) -> None:
    """Refuse a signature whose ranges lie outside the file, or whose message is larger than any signer's."""
    ranges = about.get("/ByteRange")
    # Four numbers; in an earlier revision's view the file may have been longer than it is now, never shorter.
    if not isinstance(ranges, list) or len(ranges) != 4 or not all(isinstance(one, int) for one in ranges):
        raise ExcessError("has a signature whose ranges cannot be read")
    if not all(0 <= one <= file_bytes for one in ranges):
        raise ExcessError("has a signature whose ranges lie outside the file")
    contents = about.get("/Contents")
    if not isinstance(contents, bytes):
        raise ExcessError(_BROKEN)
    if len(contents) > 2 * _LONGEST_MESSAGE:
        raise ExcessError(f"has a signature of more than {_LONGEST_MESSAGE:,} bytes")
    if isinstance(contents, Hexadecimal):
        digits = contents.translate(None, b"\0\t\n\f\r ")
        contents = bytes.fromhex((digits + b"0" * (len(digits) % 2)).decode("ascii"))
    check_message(contents)


class _Value(NamedTuple):
    """One value of a message: its tag, and where its content begins and ends; `None` is at a mark further on."""

    tag: int
    begin: int
    end: int | None


def check_message(message: bytes) -> None:
    """Refuse a message whose lengths do not fit, or that has more values, depth or certificates than any signer's."""
    try:
        _walk(message)
        certificates = sum(1 for _ in _certificates(message))
    except (IndexError, StopIteration) as error:
        raise ExcessError(_BROKEN) from error
    if certificates > _MOST_CERTIFICATES:
        raise ExcessError(f"has a signature with more than {_MOST_CERTIFICATES} certificates")


def _walk(message: bytes) -> None:
    """Go through every value of the first one in a message; what is beneath a primitive one is not looked at."""
    ends: list[int | None] = []
    at, values = 0, 0
    while True:
        value = _read(message, at)
        values += 1
        if values > _MOST_VALUES or len(ends) > _MAX_DEPTH:
            raise ExcessError("has a signature with more in it than any signer needs")
        limit = next((end for end in reversed(ends) if end is not None), len(message))
        if (value.end or value.begin) > limit:
            raise ExcessError(_BROKEN)
        if value.tag & _CONSTRUCTED or value.end is None:
            ends.append(value.end)
            at = value.begin
        else:
            at = value.end
        while ends and (at == ends[-1] or (ends[-1] is None and message[at : at + 2] == b"\0\0")):
            at += 2 if ends.pop() is None else 0
        if not ends:
            return


def _read(message: bytes, at: int) -> _Value:
    tag, at = message[at], at + 1
    if tag & 0x1F == 0x1F:
        while message[at] & 0x80:
            at += 1
        at += 1
    length, at = message[at], at + 1
    if length == _INDEFINITE:
        return _Value(tag, at, None)
    if length > _INDEFINITE:
        size = length - _INDEFINITE
        if size > 4:
            raise ExcessError(_BROKEN)
        length, at = int.from_bytes(message[at : at + size]), at + size
    return _Value(tag, at, at + length)


def _certificates(message: bytes) -> Iterator[_Value]:
    """Give the certificates in signed data (RFC 5652, 5.1), all lengths of which have been checked."""
    content = list(_children(message, _read(message, 0)))
    if len(content) < 2 or content[1].tag != _EXPLICIT:
        return
    signed_data = next(_children(message, content[1]))
    if not signed_data.tag & _CONSTRUCTED:
        return
    for part in _children(message, signed_data):
        if part.tag == _EXPLICIT:
            yield from _children(message, part)
            return


def _children(message: bytes, parent: _Value) -> Iterator[_Value]:
    at = parent.begin
    while (parent.end is not None and at < parent.end) or (parent.end is None and message[at : at + 2] != b"\0\0"):
        child = _read(message, at)
        yield child
        at = _end(message, child)


def _end(message: bytes, value: _Value) -> int:
    """Return where a value ends; its depth is known to be bounded."""
    if value.end is not None:
        return value.end
    at = value.begin
    while message[at : at + 2] != b"\0\0":
        at = _end(message, _read(message, at))
    return at + 2
