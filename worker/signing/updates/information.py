"""What a document says of itself, which tools that sign may date and put their name to, and nothing else."""

import re
from io import BytesIO
from typing import Any
from xml.parsers import expat

from pyhanko.pdf_utils.generic import StreamObject
from pyhanko.pdf_utils.metadata.model import PDF_PRODUCER, XMP_MODDATE, ExpandedName, XmpValue
from pyhanko.pdf_utils.metadata.xmp_xml import parse_xmp

from worker.signing.updates.update import Explained, Update, changes, other_entries, plain, raw

_LONGEST_NAME = 200
_DATE = re.compile(r"D:\d{4}(\d{2}){0,5}([Z+-](\d{2}'?){0,2})?")
_NAME = re.compile(rf".{{0,{_LONGEST_NAME}}}")
_XMP_DATE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:\d\d)?")
_OF_XMP_STREAMS = frozenset({"/Type", "/Subtype", "/Length", "/Filter", "/DecodeParms"})
_XMP_METADATE = ExpandedName(XMP_MODDATE.ns, "MetadataDate")
_LARGEST_XMP_BYTES = 1 << 20


def explain_information(update: Update) -> Explained:
    """Let the document's information have a new date and a tool's name at most."""
    reference = raw(update.after.trailer_view, "/Info")
    then, now = update.then(raw(update.before.trailer_view, "/Info")), update.now(reference)
    yield from update.written(reference)
    yield from changes(then, now, of="the document's information", but=("/ModDate", "/Producer"))
    written = other_entries(then, now)
    if any(
        name in written and not _is_like(raw(now, name), one)
        for name, one in (("/ModDate", _DATE), ("/Producer", _NAME))
    ):
        yield "writes something else than a date and a tool's name into the document's information"


def _is_like(value: Any, shape: "re.Pattern[str]") -> bool:
    return bool(plain(value)[0] == "string" and str(value).isprintable() and shape.fullmatch(str(value)))


def explain_metadata(update: Update) -> Explained:
    """Hold the metadata against what they were, but for a new date and a tool's name."""
    reference = raw(update.after.root, "/Metadata")
    then, now = update.then(raw(update.before.root, "/Metadata")), update.now(reference)
    yield from update.written(reference)
    if plain(then) == plain(now):
        return
    if not isinstance(then, StreamObject) or not isinstance(now, StreamObject) or set(now) - _OF_XMP_STREAMS:
        yield "changes what the document's metadata are"
        return
    try:
        is_same = _said(bytes(then.data)) == _said(bytes(now.data))
    except (ValueError, expat.ExpatError):
        is_same = False
    if not is_same:
        yield "changes the document's metadata beyond a date and a tool's name"


def _said(content: bytes) -> set[tuple[Any, ...]]:
    """Return what metadata say, but for what signing changes."""
    if len(content) > _LARGEST_XMP_BYTES:
        raise ValueError("too much")
    _require_nothing_beside(content)
    entries = [(name, value) for root in parse_xmp(BytesIO(content)) for name, value in root]
    return {_compared(name, value) for name, value in entries}


def _compared(name: ExpandedName, value: XmpValue) -> tuple[Any, ...]:
    text = value.value if isinstance(value.value, str) else ""
    if name in {XMP_MODDATE, _XMP_METADATE} and _XMP_DATE.fullmatch(text):
        return name, "a date"
    if name == PDF_PRODUCER and text.isprintable() and 0 < len(text) <= _LONGEST_NAME:
        return name, "a name"
    return name, repr(value)


def _require_nothing_beside(content: bytes) -> None:
    """Refuse what XML can carry unseen: comments, instructions of others, types, text between elements."""
    # Of each open element, the text in it so far, and whether it holds elements: then the text has to be blank.
    texts, are_containers = [""], [False]

    def refuse(*_: object) -> None:
        raise ValueError("it carries something that is no metadata")

    def start(_: str, __: dict[str, str]) -> None:
        are_containers[-1] = True
        texts.append("")
        are_containers.append(False)

    def end(_: str) -> None:
        if texts.pop().strip() and are_containers[-1]:
            refuse()
        are_containers.pop()

    def text(data: str) -> None:
        texts[-1] += data

    def instruction(target: str, _: str) -> None:
        if target != "xpacket":
            refuse()

    parser = expat.ParserCreate()
    parser.CommentHandler = parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = refuse
    parser.StartCdataSectionHandler = refuse
    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler, parser.ProcessingInstructionHandler = text, instruction
    parser.Parse(content, True)
