"""The outer shape of a signature: where it says that it covers the file, and how much its message holds (X.690)."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from worker.signing.pdf_values import ExcessError, Hexadecimal

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
    """Refuse a message whose lengths do not fit, or that has more values, depth or certificates than any signer's.

    Its first value is gone through from end to end without recursion, for a message may nest deeper than a stack; what
    is beneath a primitive value is not looked at.
    """
    opened: list[_Value] = []
    at, values, certificates = 0, 0, 0
    while not values or opened:
        value = _read(message, at)
        values += 1
        certificates += _are_certificates(opened)
        if values > _MOST_VALUES or len(opened) > _MAX_DEPTH:
            raise ExcessError("has a signature with more in it than any signer needs")
        limit = next((one.end for one in reversed(opened) if one.end is not None), len(message))
        if (value.end or value.begin) > limit:
            raise ExcessError(_BROKEN)
        at = value.begin
        opened.append(value)
        if value.end is not None and not value.tag & _CONSTRUCTED:
            at = value.end
        while opened and (at == opened[-1].end or (opened[-1].end is None and message[at : at + 2] == b"\0\0")):
            at += 2 if opened.pop().end is None else 0
    if certificates > _MOST_CERTIFICATES:
        raise ExcessError(f"has a signature with more than {_MOST_CERTIFICATES} certificates")


def _are_certificates(opened: list[_Value]) -> bool:
    """Tell whether what stands directly in these values is a certificate (RFC 5652, 5.1)."""
    return len(opened) == 4 and opened[1].tag == _EXPLICIT and opened[3].tag == _EXPLICIT


def _read(message: bytes, at: int) -> _Value:
    try:
        tag, at = message[at], at + 1
        if tag & 0x1F == 0x1F:
            while message[at] & 0x80:
                at += 1
            at += 1
        length, at = message[at], at + 1
    except IndexError as error:
        raise ExcessError(_BROKEN) from error
    if length == _INDEFINITE:
        return _Value(tag, at, None)
    if length > _INDEFINITE:
        size = length - _INDEFINITE
        if size > 4:
            raise ExcessError(_BROKEN)
        length, at = int.from_bytes(message[at : at + size]), at + size
    return _Value(tag, at, at + length)
