"""The bytes of an update of a PDF: objects one after another, their table, and nothing between them."""

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from pyhanko.pdf_utils.generic import Reference, StreamObject
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.pdf_utils.xref import XRefSectionData, XRefSectionType

_SPACE = rb"[\x00\t\n\x0c\r ]"
_BLANK = re.compile(_SPACE + rb"*")
_HEADER = re.compile(rb"(\d{1,10})" + _SPACE + rb"+(\d{1,5})" + _SPACE + rb"+obj")
# ISO 32000-1, 7.2 and 7.3 (from memory): names, brackets, hexadecimal strings, then whatever else is no delimiter.
_TOKEN = re.compile(
    rb"(?P<space>" + _SPACE + rb"+)|/[^\x00\t\n\x0c\r ()<>\[\]{}/%]*|(?P<open><<|\[)|(?P<close>>>|\])"
    rb"|<[0-9A-Fa-f\x00\t\n\x0c\r ]*>|(?P<word>[^\x00\t\n\x0c\r ()<>\[\]{}/%]+)|(?P<string>\()"
)
_STRING_PART = re.compile(rb"(?:[^\\()]|\\.)*([()])", re.DOTALL)
_STREAM_BEGIN = re.compile(rb"\r?\n")
_STREAM_END = re.compile(_SPACE + rb"*endstream" + _SPACE + rb"*endobj")
_TABLE = re.compile(
    rb"xref"
    + _SPACE
    + rb"+(?:\d+ \d+"
    + _SPACE
    + rb"+(?:\d{10} \d{5} [nf]"
    + _SPACE
    + rb"+)*)*trailer"
    + _SPACE
    + rb"*"
)
# Some writers leave their name in a comment.
_END = re.compile(
    _SPACE + rb"*(?:%[ -~]{0,80}[\r\n]+)?startxref" + _SPACE + rb"+\d+" + _SPACE + rb"+%%EOF" + _SPACE + rb"*"
)


class LayoutError(ValueError):
    """An update is not laid out as the format has it."""


def end_of_revision(pdf: bytes, reader: PdfFileReader, revision: int) -> int:
    """Return where a revision ends, with the line end after its mark."""
    mark = pdf.find(b"%%EOF", reader.xrefs.get_xref_container_info(revision).end_location)
    if mark < 0:
        raise LayoutError("a revision has no end")
    end = mark + len(b"%%EOF")
    return end + len(re.match(rb"\r?\n?", pdf[end : end + 2]).group())  # type: ignore[union-attr]


def stray_bytes(pdf: bytes, reader: PdfFileReader, revision: int) -> int:
    """Return how many bytes of an update stand outside its objects, its table, and the white space between them."""
    start, end = (end_of_revision(pdf, reader, number) for number in (revision - 1, revision))
    about, data = reader.xrefs.get_xref_container_info(revision), reader.xrefs.get_xref_data(revision)
    if about.xref_section_type not in {XRefSectionType.STANDARD, XRefSectionType.STREAM}:
        raise LayoutError("it has two tables of objects")
    table = about.declared_startxref
    if not start <= table < end or (about.stream_ref is not None and about.start_location != table):
        raise LayoutError("its table of objects stands elsewhere")
    # Read in the order in which they stand, each to its end: then only white space may be left between them.
    objects = {offset: Reference(number, generation) for number, (generation, offset) in data.standard_xrefs.items()}
    if about.stream_ref is not None:
        objects.setdefault(table, about.stream_ref)
    strays, position = 0, start
    for offset in sorted(objects):
        if not position <= offset < end:
            raise LayoutError("an object stands outside of it, or within another")
        strays += _strays(pdf[position:offset])
        position = _end_of_object(pdf, offset, objects[offset], reader, revision)
    return strays + _strays_at_end(pdf, position, end, table=None if about.stream_ref is not None else table)


def hidden_in_streams(reader: PdfFileReader, revision: int) -> Iterator[str]:
    """Say what the object streams of an update hold beside the objects that its table names."""
    # Readers find what stands in a stream by its place there, and some by its number: both have to lead to one thing.
    data: XRefSectionData = reader.xrefs.get_xref_data(revision)
    for number in sorted(data.obj_streams_used):
        stream: object = reader.get_object(Reference(number, 0, reader), revision)  # type: ignore[no-untyped-call]
        named = {one.ix_in_stream: idnum for idnum, one in data.xrefs_in_objstm.items() if one.obj_stream_id == number}
        if number not in data.standard_xrefs or not isinstance(stream, StreamObject) or "/Extends" in stream:
            yield f"Its object stream {number} is none of its own."
        elif not _holds_only(bytes(stream.data), named=named, first=int(stream["/First"]), count=int(stream["/N"])):
            yield f"Its object stream {number} holds more than the objects that its table names."


def _holds_only(content: bytes, *, named: dict[int, int], first: int, count: int) -> bool:
    numbers = [int(one) for one in content[:first].split()]
    identifiers, offsets = numbers[0::2], numbers[1::2]
    if len(numbers) != 2 * count or dict(enumerate(identifiers)) != named or offsets != sorted(offsets):
        return False
    bounds = [first + offset for offset in offsets] + [len(content)]
    return bounds[0] == first and all(_is_one_value(content[begin:end]) for begin, end in pairwise(bounds))


def _is_one_value(content: bytes) -> bool:
    position, depth, values = 0, 0, 0
    while position < len(content):
        kind, position = _next(content, position)
        values += depth == 0 and kind not in {"space", "close"}
        depth += (kind == "open") - (kind == "close")
    # A reference would be three, and may not stand alone in such a stream.
    return values == 1 and depth == 0


def _strays(gap: bytes) -> int:
    return 0 if _BLANK.fullmatch(gap) else len(gap.strip(b"\x00\t\n\x0c\r "))


def _strays_at_end(pdf: bytes, position: int, end: int, *, table: int | None) -> int:
    strays = 0
    if table is not None:
        found = _TABLE.match(pdf, table)
        if found is None or table < position:
            raise LayoutError("its table of objects cannot be read")
        strays, position = _strays(pdf[position:table]), _end_of_value(pdf, found.end())
    return strays + (0 if _END.fullmatch(pdf, position, end) else end - position)


def _end_of_object(pdf: bytes, offset: int, reference: Reference, reader: PdfFileReader, revision: int) -> int:
    header = _HEADER.match(pdf, offset)
    if header is None or (int(header[1]), int(header[2])) != (reference.idnum, reference.generation):
        raise LayoutError(f"object {reference.idnum} is not where its table says")
    position = _end_of_value(pdf, header.end())
    kind, after = _next(pdf, len(_BLANK.match(pdf, position).group()) + position)  # type: ignore[union-attr]
    word = pdf[after - 6 : after] if kind == "word" else b""
    if word == b"endobj":
        return after
    owned = Reference(reference.idnum, reference.generation, reader)
    held: object = reader.get_object(owned, revision, never_decrypt=True)  # type: ignore[no-untyped-call]
    begin = _STREAM_BEGIN.match(pdf, after)
    if word != b"stream" or begin is None or not isinstance(held, StreamObject):
        raise LayoutError(f"object {reference.idnum} has no end")
    end = _STREAM_END.match(pdf, begin.end() + len(held.encoded_data))
    if end is None:
        raise LayoutError(f"object {reference.idnum} is longer than it says")
    return end.end()


def _end_of_value(pdf: bytes, position: int) -> int:
    """Return where one value ends; a reference is three words, of which the caller's next one tells the end."""
    depth = 0
    while True:
        kind, position = _next(pdf, position)
        depth += (kind == "open") - (kind == "close")
        if depth == 0 and kind != "space":
            return position


def _next(pdf: bytes, position: int) -> tuple[str, int]:
    """Return the kind and the end of the token at a position; a comment is none, for it would hide what it says."""
    token = _TOKEN.match(pdf, position)
    if token is None:
        raise LayoutError("something in it is no object")
    if token.lastgroup == "string":
        return "string", _end_of_string(pdf, token.end())
    return token.lastgroup or "name", token.end()


def _end_of_string(pdf: bytes, position: int) -> int:
    depth = 1
    while depth:
        part = _STRING_PART.match(pdf, position)
        if part is None:
            raise LayoutError("a string in it has no end")
        depth += 1 if part[1] == b"(" else -1
        position = part.end()
    return position


def describe(numbers: Sequence[int]) -> str:
    """Name objects for a sentence, the first of many."""
    named = ", ".join(map(str, numbers[:5]))
    return named if len(numbers) <= 5 else f"{named} and {len(numbers) - 5} more"
