"""Values as they stand in a PDF, read without recursion and to a bounded depth and number."""

import re
from dataclasses import dataclass
from typing import Any, NamedTuple

MAX_DEPTH = 64
# ISO 32000-1, annex C (from memory): names of 127 bytes, integers of 32 bits. Offsets in files have ten digits.
_LONGEST_NAME = 255
_LONGEST_NUMBER, _LONGEST_REAL = 20, 64
_SPACE = rb"[\0\t\n\f\r ]"
# A comment has to end: a library was seen to wait for the end of one for ever.
SPACES = re.compile(rb"(?:[\0\t\n\f\r ]++|%[^\r\n]*+[\r\n])*+")
_TOKEN = re.compile(
    rb"(?P<reference>([0-9]{1,10})" + _SPACE + rb"+([0-9]{1,5})" + _SPACE + rb"+R(?![^\0\t\n\f\r ()<>\[\]{}/%]))"
    rb"|(?P<number>[+-]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++))"
    rb"|(?P<name>/[^\0\t\n\f\r ()<>\[\]{}/%]*+)"
    rb"|(?P<dictionary><<)|(?P<end_of_dictionary>>>)|(?P<array>\[)|(?P<end_of_array>\])"
    rb"|(?P<hexadecimal><[0-9A-Fa-f\0\t\n\f\r ]*+>)"
    rb"|(?P<literal>\()"
    rb"|(?P<word>(?:true|false|null)(?![^\0\t\n\f\r ()<>\[\]{}/%]))"
)
# The first words of an object that stands in the file itself: its number and generation.
HEADER = re.compile(rb"([0-9]{1,10})" + _SPACE + rb"+([0-9]{1,5})" + _SPACE + rb"+obj(?![A-Za-z0-9])")
_INSIDE_LITERAL = re.compile(rb"(?:[^()\\]++|\\.)*+", re.DOTALL)
_ESCAPE = re.compile(rb"#([0-9A-Fa-f]{2})")
_WORDS = {b"true": True, b"false": False, b"null": None}


class ExcessError(ValueError):
    """A file has what no package needs; the sentence goes on after what the file is called."""


class Name(str):
    """A name, its escapes resolved."""

    __slots__ = ()


class Hexadecimal(bytes):
    """A string in hexadecimal digits, as it stands between its brackets."""

    __slots__ = ()


class Reference(NamedTuple):
    """A reference to an object."""

    number: int
    generation: int


@dataclass
class Allowance:
    """How much of one kind a file may still take, and what is said of a file that takes more."""

    left: int
    excess: str

    def take(self, amount: int = 1) -> None:
        """Count what is taken."""
        self.left -= amount
        if self.left < 0:
            raise ExcessError(self.excess)


def allow_values(most: int) -> Allowance:
    """Return an allowance of so many values in all objects together."""
    return Allowance(most, "has more values in its objects than a package needs")


class _Open(NamedTuple):
    """An array or dictionary that is being read."""

    is_dictionary: bool
    items: list[Any]


def read_value(data: bytes, at: int, allowance: Allowance, *, space: "re.Pattern[bytes]" = SPACES) -> tuple[Any, int]:
    """Return the value that stands at a place, and where it ends; `space` is what may stand before each part of it."""
    opened: list[_Open] = []
    while True:
        token = _TOKEN.match(data, skip_space(data, at, space=space))
        if token is None:
            raise unreadable(at)
        allowance.take()
        kind, at = token.lastgroup, token.end()
        if kind in {"dictionary", "array"}:
            if len(opened) == MAX_DEPTH:
                raise ExcessError(f"nests arrays and dictionaries deeper than {MAX_DEPTH}")
            opened.append(_Open(kind == "dictionary", []))
            continue
        if kind in {"end_of_dictionary", "end_of_array"}:
            value = _close(opened, at, is_dictionary=kind == "end_of_dictionary")
        elif kind == "literal":
            value, at = _read_literal(data, at)
        else:
            value = _read_single(token)
        if not opened:
            return value, at
        opened[-1].items.append(value)


def skip_space(data: bytes, at: int, *, space: "re.Pattern[bytes]" = SPACES) -> int:
    """Return where white space and comments end."""
    found = space.match(data, at)
    return at if found is None else found.end()


def unreadable(at: int) -> ExcessError:
    """Return the error about a place where nothing stands that could be read."""
    return ExcessError(f"cannot be read at byte {at}")


def whole_number(value: Any, *, most: int, what: str) -> int:
    """Return a number that has to be whole, not negative, and not beyond what is possible."""
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= most:
        raise ExcessError(f"has {what} out of range")
    return value


def _close(opened: list[_Open], at: int, *, is_dictionary: bool) -> Any:
    if not opened or opened[-1].is_dictionary is not is_dictionary:
        raise unreadable(at)
    items = opened.pop().items
    if not is_dictionary:
        return items
    names = items[::2]
    if len(items) % 2 or not all(isinstance(name, Name) for name in names) or len({*names}) != len(names):
        raise unreadable(at)
    return dict(zip(names, items[1::2], strict=True))


def _read_single(token: "re.Match[bytes]") -> Any:
    text = token.group()
    match token.lastgroup:
        case "reference":
            return Reference(int(token.group(2)), int(token.group(3)))
        case "number":
            if len(text) > (_LONGEST_REAL if b"." in text else _LONGEST_NUMBER):
                raise ExcessError(f"has a number of {len(text)} digits")
            return float(text) if b"." in text else int(text)
        case "name":
            if len(text) > _LONGEST_NAME:
                raise ExcessError(f"has a name of {len(text)} bytes")
            return Name(_ESCAPE.sub(lambda found: bytes.fromhex(found[1].decode()), text).decode("latin-1"))
        case "hexadecimal":
            return Hexadecimal(text[1:-1])
        case _:
            return _WORDS[text]


def _read_literal(data: bytes, at: int) -> tuple[bytes, int]:
    began, depth = at, 1
    while depth:
        found = _INSIDE_LITERAL.match(data, at)
        at = at if found is None else found.end()
        if at >= len(data) or data[at] == ord("\\"):
            raise unreadable(began)
        depth += 1 if data[at] == ord("(") else -1
        at += 1
    return data[began : at - 1], at
