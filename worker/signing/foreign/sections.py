"""The cross-reference sections of a PDF, one for each revision: where each says that objects stand."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import Any, NamedTuple

from worker.signing.foreign.streams import Unpacking
from worker.signing.pdf_values import (
    HEADER,
    Allowance,
    ExcessError,
    read_value,
    skip_space,
    unreadable,
    whole_number,
)

# ISO 32000-1, annex C (from memory): the most objects that a file has.
MOST_NUMBERS = 8_388_607
_AT_END = re.compile(rb"startxref[\0\t\n\f\r ]+([0-9]{1,10})[\0\t\n\f\r ]+\Z")
_SUBSECTION = re.compile(rb"([0-9]{1,10})[\0\t\n\f\r ]+([0-9]{1,10})[\0\t\n\f\r ]+")
_ENTRY = re.compile(rb"([0-9]{10}) ([0-9]{5}) ([nf])(?: \r\n| \n| \r|\r\n|\n|\r)")
_STREAM = re.compile(rb"stream[ \t\f\0]*+(?:\r\n|\n|\r)")
_AGAIN = "has objects of a second generation, or named twice, which no tool writes"
_PLAIN = 1


class Compressed(NamedTuple):
    """A place inside an object stream."""

    stream: int
    position: int


# A byte of the file, inside a stream, or nowhere any more.
Place = int | Compressed | None


@dataclass(frozen=True, kw_only=True)
class Section:
    """One section: where it stands, what it says, and its trailer."""

    at: int
    places: Mapping[int, Place]
    trailer: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Found:
    """An object that stands in the file itself, and where its stream begins if it is one."""

    number: int
    value: Any
    stream_at: int | None


@dataclass(frozen=True, kw_only=True)
class Source:
    """The bytes of a file, and how much of each kind may still be read of them."""

    pdf: bytes
    values: Allowance
    cross_references: Allowance
    compressed: Allowance
    unpacking: Unpacking

    def read_object(self, at: int) -> Found:
        """Read the object that stands at a byte."""
        header = HEADER.match(self.pdf, skip_space(self.pdf, at))
        if header is None:
            raise unreadable(at)
        value, end = read_value(self.pdf, header.end(), self.values)
        # Comments may stand between: a reader that saw no stream here would not unpack what another does.
        keyword_at = skip_space(self.pdf, end)
        if not isinstance(value, dict) or not self.pdf.startswith(b"stream", keyword_at):
            return Found(number=int(header[1]), value=value, stream_at=None)
        stream = _STREAM.match(self.pdf, keyword_at)
        if stream is None:
            raise unreadable(keyword_at)
        return Found(number=int(header[1]), value=value, stream_at=stream.end())

    def read_stream(self, found: Found, *, length: Any) -> bytes:
        """Return a stream as it is packed, its length known."""
        if found.stream_at is None:
            raise ExcessError("has no stream where one should be")
        size = whole_number(length, most=len(self.pdf), what="a stream whose length is")
        return self.pdf[found.stream_at : found.stream_at + size]


def read_sections(source: Source, *, most: int) -> list[Section]:
    """Follow the sections from the last to the first, each read once; return them, the oldest first."""
    found: dict[int, Section] = {}
    at = _last(source.pdf)
    while at is not None:
        if at in found:
            raise ExcessError("has cross-references that lead back into themselves")
        if len(found) >= most:
            raise ExcessError(f"has more than {most} revisions")
        found[at] = _section(source, at)
        trailer = found[at].trailer
        if "/Encrypt" in trailer:
            raise ExcessError("is encrypted, which no package is")
        at = _offset(source, trailer.get("/Prev"))
    return [*found.values()][::-1]


def _last(pdf: bytes) -> int | None:
    end = pdf.rfind(b"%%EOF")
    found = _AT_END.search(pdf, max(0, end - 64), max(0, end))
    if found is None or end < len(pdf) - 1024:
        raise ExcessError("does not end as a PDF does, with the place of its cross-references")
    return int(found[1])


def _offset(source: Source, value: Any) -> int | None:
    if value is None:
        return None
    return whole_number(value, most=len(source.pdf) - 1, what="cross-references whose place is")


def _section(source: Source, at: int) -> Section:
    at = skip_space(source.pdf, at)
    if not source.pdf.startswith(b"xref", at):
        return _stream_section(source, at)
    places, end = _table(source, at + 4)
    trailer, _ = read_value(source.pdf, end, source.values)
    if not isinstance(trailer, dict):
        raise unreadable(end)
    whole_number(trailer.get("/Size"), most=MOST_NUMBERS, what="a number of objects")
    hybrid = _offset(source, trailer.get("/XRefStm"))
    if hybrid is not None:
        # What the table says goes first, unless it says that nothing is there, as for whoever reads the file.
        said = {number: place for number, place in places.items() if place is not None}
        places = {**places, **_stream_section(source, hybrid).places, **said}
    return Section(at=at, places=places, trailer=trailer)


def _table(source: Source, at: int) -> tuple[dict[int, Place], int]:
    pdf, places = source.pdf, dict[int, Place]()
    while True:
        at = skip_space(pdf, at)
        if pdf.startswith(b"trailer", at):
            return places, at + len(b"trailer")
        head = _SUBSECTION.match(pdf, at)
        if head is None:
            raise unreadable(at)
        at = head.end()
        for number in _numbers(source, int(head[1]), int(head[2])):
            entry = _ENTRY.match(pdf, at)
            if entry is None:
                raise unreadable(at)
            # Readers differ on which of two entries counts, and so on what the file holds.
            if number in places or (entry[3] == b"n" and int(entry[2])):
                raise ExcessError(_AGAIN)
            places[number] = int(entry[1]) if entry[3] == b"n" else None
            at = entry.end()


def _numbers(source: Source, first: int, count: int) -> range:
    """Return the numbers of the objects that one run of cross-references is about, and count them."""
    source.cross_references.take(whole_number(count, most=MOST_NUMBERS, what="a number of cross-references"))
    return range(first, first + count)


def _stream_section(source: Source, at: int) -> Section:
    found = source.read_object(at)
    about = found.value
    if found.stream_at is None or about.get("/Type") != "/XRef":
        raise unreadable(at)
    size = whole_number(about.get("/Size"), most=MOST_NUMBERS, what="a number of objects")
    widths, ranges = _widths(about.get("/W")), _ranges(about.get("/Index", [0, size]))
    numbers = [_numbers(source, first, count) for first, count in ranges]
    entries = sum(map(len, numbers))
    # A byte more for each row where rows were prepared for packing.
    most = entries * (sum(widths) + 1)
    raw = source.read_stream(found, length=about.get("/Length"))
    content = source.unpacking.unpack(about, raw, most=most, what="a cross-reference stream")
    if len(content) != entries * sum(widths):
        raise ExcessError("has a cross-reference stream of another size than it says")
    return Section(at=at, places=dict(_entries(content, widths, chain(*numbers))), trailer=about)


def _widths(given: Any) -> tuple[int, int, int]:
    if not isinstance(given, list) or len(given) != 3:
        raise ExcessError("has a cross-reference stream whose widths cannot be read")
    kind, place, third = (whole_number(one, most=8, what="a cross-reference stream whose width is") for one in given)
    if place == 0:
        raise ExcessError("has a cross-reference stream whose entries say nothing")
    return kind, place, third


def _ranges(given: Any) -> list[tuple[int, int]]:
    if not isinstance(given, list) or len(given) % 2:
        raise ExcessError("has a cross-reference stream whose ranges cannot be read")
    numbers = [whole_number(one, most=MOST_NUMBERS, what="a range of cross-references") for one in given]
    ranges = list(zip(numbers[::2], numbers[1::2], strict=True))
    if any(first + count > following for (first, count), (following, _) in pairwise(ranges)):
        raise ExcessError("has a cross-reference stream whose ranges overlap")
    return ranges


def _entries(content: bytes, widths: tuple[int, int, int], numbers: Iterable[int]) -> Iterator[tuple[int, Place]]:
    kind_end, place_end, end = widths[0], widths[0] + widths[1], sum(widths)
    for at, number in zip(range(0, len(content), end), numbers, strict=True):
        kind = int.from_bytes(content[at : at + kind_end]) if kind_end else _PLAIN
        place = int.from_bytes(content[at + kind_end : at + place_end])
        third = int.from_bytes(content[at + place_end : at + end])
        match kind:
            case 0:
                yield number, None
            case 1:
                if third:
                    raise ExcessError(_AGAIN)
                yield number, place
            case 2:
                yield number, Compressed(place, third)
