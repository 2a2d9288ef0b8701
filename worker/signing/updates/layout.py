"""The bytes of an update of a PDF: objects one after another, their table, and nothing between them."""

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from pyhanko.pdf_utils.generic import Reference, StreamObject
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.pdf_utils.xref import XRefSectionData, XRefSectionType

from worker.signing import pdf_values

_SPACE = rb"[\x00\t\n\x0c\r ]"
# A comment is none: it would hide what it says.
_BLANK = re.compile(_SPACE + rb"*")
_STREAM_END = re.compile(_SPACE + rb"*endstream" + _SPACE + rb"*endobj")
_STREAM_WORD, _END_WORD = re.compile(_SPACE + rb"*stream\r?\n"), re.compile(_SPACE + rb"*endobj")
_TABLE = re.compile(rb"xref_+(?:\d+ \d+_+(?:\d{10} \d{5} [nf]_+)*)*trailer_*".replace(b"_", _SPACE))
# Some writers leave their name in a comment.
_END = re.compile(rb"_*(?:%[ -~]{0,80}[\r\n]+)?startxref_+\d+_+%%EOF_*".replace(b"_", _SPACE))


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
    value, end = _value(content, 0)
    # A reference may not stand alone in such a stream.
    return not isinstance(value, pdf_values.Reference) and _BLANK.fullmatch(content, end) is not None


def _strays(gap: bytes) -> int:
    return 0 if _BLANK.fullmatch(gap) else len(gap.strip(b"\x00\t\n\x0c\r "))


def _strays_at_end(pdf: bytes, position: int, end: int, *, table: int | None) -> int:
    strays = 0
    if table is not None:
        found = _TABLE.match(pdf, table)
        if found is None or table < position:
            raise LayoutError("its table of objects cannot be read")
        strays, (_, position) = _strays(pdf[position:table]), _value(pdf, found.end())
    return strays + (0 if _END.fullmatch(pdf, position, end) else end - position)


def _end_of_object(pdf: bytes, offset: int, reference: Reference, reader: PdfFileReader, revision: int) -> int:
    header = pdf_values.HEADER.match(pdf, offset)
    if header is None or (int(header[1]), int(header[2])) != (reference.idnum, reference.generation):
        raise LayoutError(f"object {reference.idnum} is not where its table says")
    value, position = _value(pdf, header.end())
    end, begin = _END_WORD.match(pdf, position), _STREAM_WORD.match(pdf, position)
    if end is not None and not isinstance(value, pdf_values.Reference):
        return end.end()
    owned = Reference(reference.idnum, reference.generation, reader)
    held: object = reader.get_object(owned, revision, never_decrypt=True)  # type: ignore[no-untyped-call]
    if begin is None or not isinstance(held, StreamObject):
        raise LayoutError(f"object {reference.idnum} has no end")
    end = _STREAM_END.match(pdf, begin.end() + len(held.encoded_data))
    if end is None:
        raise LayoutError(f"object {reference.idnum} is longer than it says")
    return end.end()


def _value(content: bytes, position: int) -> tuple[object, int]:
    """Return the value that stands at a position, and where it ends."""
    try:
        return pdf_values.read_value(content, position, pdf_values.allow_values(len(content)), space=_BLANK)
    except pdf_values.ExcessError as error:
        raise LayoutError("something in it is no object") from error


def describe(numbers: Sequence[int]) -> str:
    """Name objects for a sentence, the first of many."""
    named = ", ".join(map(str, numbers[:5]))
    return named if len(numbers) <= 5 else f"{named} and {len(numbers) - 5} more"
