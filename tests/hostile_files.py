"""Files made to exhaust whoever reads them: each is a package, and behind it an update written by hand.

Nothing here is made with the library that reads them, which would refuse to write most of it.
"""

import re
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

MIB = 1 << 20
# Far above any number that a package of the tests gives out.
FIRST = 5000
Make = Callable[["Base"], bytes]


@dataclass(frozen=True, kw_only=True)
class Base:
    """A package, and what an update to it has to know."""

    pdf: bytes
    startxref: int
    root: int
    catalog: bytes = field(repr=False)

    @classmethod
    def of(cls, pdf: bytes) -> "Base":
        """Read what an update needs with expressions, as the tests' packages are written."""
        startxref = int(re.findall(rb"startxref\s+(\d+)\s+%%EOF", pdf)[-1])
        root = int(re.findall(rb"/Root (\d+) 0 R", pdf)[-1])
        [*_, catalog] = re.findall(rb"[\r\n]%d 0 obj\s*<<(.*?)>>\s*endobj" % root, pdf, re.DOTALL)
        return cls(pdf=pdf, startxref=startxref, root=root, catalog=catalog)

    def root_with(self, **entries: bytes) -> bytes:
        """Return the catalog with entries put in place of its own."""
        kept = self.catalog
        for name in entries:
            value = rb"(?:\d+ 0 R|<<[^<>]*(?:<<[^<>]*>>[^<>]*)*>>|\[[^\]]*\]|/\w+)"
            kept = re.sub(rb"/%s\s*%s" % (name.encode(), value), b"", kept)
        return b"<<" + kept + b"".join(b"/%s %s\n" % (name.encode(), value) for name, value in entries.items()) + b">>"


def update(
    base: Base, objects: Mapping[int, bytes], *, trailer: bytes = b"", prev: bytes | None = None, size: int = 100_000
) -> bytes:
    """Add objects with a cross-reference table of their own."""
    body, places = bytearray(base.pdf + b"\n"), {}
    for number, value in objects.items():
        places[number] = len(body)
        body += b"%d 0 obj\n%s\nendobj\n" % (number, value)
    at = len(body)
    body += b"xref\n"
    for number, place in sorted(places.items()):
        body += b"%d 1\n%010d 00000 n \n" % (number, place)
    before = b"%d" % base.startxref if prev is None else prev
    body += b"trailer\n<< /Size %d /Root %d 0 R /Prev %s %s >>\n" % (size, base.root, before, trailer)
    return bytes(body + b"startxref\n%d\n%%%%EOF\n" % at)


def stream(content: bytes, about: bytes = b"", *, filters: bytes | None = b"/FlateDecode") -> bytes:
    """Return a stream object's text, its content packed already where no filter is to be named."""
    named = b"" if filters is None else b"/Filter " + filters
    return b"<< %s %s /Length %d >>\nstream\n%s\nendstream" % (about, named, len(content), content)


def zeros(size: int, *, byte: bytes = b"\0") -> bytes:
    """Return so many equal bytes, packed: a block of them over and over, for packing each anew takes seconds."""
    packer = zlib.compressobj(9, wbits=-zlib.MAX_WBITS)
    # After a full flush nothing refers to what was before, so that each block is the same.
    block = packer.compress(byte * MIB) + packer.flush(zlib.Z_FULL_FLUSH)
    end = packer.compress(byte * (size % MIB)) + packer.flush()
    # RFC 1950: two head bytes, and at the end Adler-32, which for equal bytes is a sum that has a formula.
    low = 1 + size * byte[0]
    high = size + byte[0] * size * (size + 1) // 2
    return b"\x78\xda" + block * (size // MIB) + end + ((high % 65521 << 16) + low % 65521).to_bytes(4)


def xref_stream(base: Base, content: bytes, about: bytes, *, filters: bytes = b"/FlateDecode") -> bytes:
    """Add a cross-reference stream, its content packed already, which the file ends with."""
    body = base.pdf + b"\n"
    text = stream(content, b"/Type /XRef /Root %d 0 R %s" % (base.root, about), filters=filters)
    return body + b"%d 0 obj\n%s\nendobj\nstartxref\n%d\n%%%%EOF\n" % (FIRST, text, len(body))


def _xref_bomb(base: Base) -> bytes:
    return xref_stream(base, zeros(17 * 6_000_000), b"/Size 6000000 /W [1 8 8] /Prev %d" % base.startxref)


def _xref_bomb_without_entries(base: Base) -> bytes:
    return xref_stream(base, zeros(100 * MIB), b"/Size 20 /W [1 8 2] /Prev %d" % base.startxref)


def _xref_with_predictor(base: Base) -> bytes:
    about = b"/Size 20 /W [1 8 2] /Prev %d /DecodeParms << /Predictor 12 /Columns 2000000000 >>" % base.startxref
    return xref_stream(base, zeros(100 * MIB), about)


def _xref_rows(base: Base) -> bytes:
    about = b"/Size 8000000 /W [1 8 2] /Prev %d /DecodeParms << /Predictor 12 /Columns 11 >>" % base.startxref
    return xref_stream(base, zeros(96_000_000), about)


def _xref(about: bytes) -> Make:
    return lambda base: xref_stream(base, zeros(1000), about + b" /Prev %d" % base.startxref)


def _object_stream(about: bytes, content: bytes, *, number: int = FIRST + 1) -> Make:
    """Return a file whose catalog is said to stand in an object stream."""

    def make(base: Base) -> bytes:
        body = base.pdf + b"\n"
        inner = b"%d 0 obj\n%s\nendobj\n" % (number, stream(content, b"/Type /ObjStm " + about))
        entries = b"".join(
            [
                b"\2" + number.to_bytes(4) + b"\0\0",
                b"\1" + len(body).to_bytes(4) + b"\0\0",
                b"\1" + (len(body) + len(inner)).to_bytes(4) + b"\0\0",
            ]
        )
        ranges = b"/Index [%d 1 %d 1 %d 1]" % (base.root, number, FIRST + 2)
        head = b"/Type /XRef /Root %d 0 R /Size 6000 /W [1 4 2] %s /Prev %d" % (base.root, ranges, base.startxref)
        text = stream(zlib.compress(entries), head)
        at = len(body) + len(inner)
        return body + inner + b"%d 0 obj\n%s\nendobj\nstartxref\n%d\n%%%%EOF\n" % (FIRST + 2, text, at)

    return make


def _one_object(value: bytes) -> Make:
    return lambda base: update(base, {FIRST: value, base.root: base.root_with(Extra=b"%d 0 R" % FIRST)})


def _metadata(text: bytes, *, filters: bytes = b"/FlateDecode", is_packed: bool = False) -> Make:
    packed = text if is_packed else zlib.compress(text)
    return lambda base: update(
        base,
        {
            FIRST: stream(packed, b"/Type /Metadata /Subtype /XML", filters=filters),
            base.root: base.root_with(Metadata=b"%d 0 R" % FIRST),
        },
    )


ENTITIES = (
    b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><!DOCTYPE x [<!ENTITY a "ha">'
    + b"".join(b'<!ENTITY %c "%s">' % (ord("b") + n, b"&%c;" % (ord("a") + n) * 10) for n in range(12))
    + b']><x:xmpmeta xmlns:x="adobe:ns:meta/">&m;</x:xmpmeta>'
)


def _pages(**objects: bytes) -> Make:
    """Put a tree of pages in place of the package's own: `first` is its root."""

    def make(base: Base) -> bytes:
        numbers = {name: FIRST + index for index, name in enumerate(objects)}
        references = {name.encode(): b"%d 0 R" % number for name, number in numbers.items()}
        resolved = {name: re.sub(rb"\{(\w+)\}", lambda found: references[found[1]], objects[name]) for name in objects}
        texts = {numbers[name]: text for name, text in resolved.items()}
        return update(base, {**texts, base.root: base.root_with(Pages=references[b"first"])})

    return make


def _long_page_tree(base: Base) -> bytes:
    kids = b" ".join(b"%d 0 R" % FIRST for _ in range(200_000))
    page = b"<< /Type /Page /MediaBox [0 0 9 9] >>"
    pages = b"<< /Type /Pages /Count 200000 /Kids [%s] >>" % kids
    return update(base, {FIRST: page, FIRST + 1: pages, base.root: base.root_with(Pages=b"%d 0 R" % (FIRST + 1))})


def _form(fields: bytes, **objects: bytes) -> Make:
    numbers = {int(name[1:]): text for name, text in objects.items()}
    return lambda base: update(
        base, {**numbers, base.root: base.root_with(AcroForm=b"<< /SigFlags 3 /Fields [%s] >>" % fields)}
    )


def _attachments(tree: bytes, **objects: bytes) -> Make:
    numbers = {int(name[1:]): text for name, text in objects.items()}
    return lambda base: update(base, {**numbers, base.root: base.root_with(Names=b"<< /EmbeddedFiles %s >>" % tree)})


def _attachment(packed: bytes, *, filters: bytes = b"/FlateDecode") -> Make:
    specification = b"<< /Type /Filespec /F (x) /UF (x) /EF << /F 5000 0 R >> >>"
    return lambda base: update(
        base,
        {
            FIRST: stream(packed, b"/Type /EmbeddedFile", filters=filters),
            base.root: base.root_with(Names=b"<< /EmbeddedFiles << /Names [(x) %s] >> >>" % specification),
        },
    )


def _signature(contents: bytes, ranges: bytes = b"0 10 20 10") -> Make:
    value = b"<< /Type /Sig /Filter /Adobe.PPKLite /SubFilter /ETSI.CAdES.detached /ByteRange [%s] /Contents <%s> >>"
    field_text = b"<< /FT /Sig /T (Another) /V 5000 0 R >>"
    return _form(b"5001 0 R", n5000=value % (ranges, contents.hex().encode()), n5001=field_text)


def der(tag: int, content: bytes) -> bytes:
    """Return one value in DER."""
    length = len(content)
    if length < 128:
        return bytes([tag, length]) + content
    digits = length.to_bytes((length.bit_length() + 7) // 8)
    return bytes([tag, 128 + len(digits)]) + digits + content


def _cms(certificates: bytes) -> bytes:
    signed = b"".join(
        [
            der(2, b"\1"),
            der(0x31, b""),
            der(0x30, bytes.fromhex("06092a864886f70d010701")),
            der(0xA0, certificates),
            der(0x31, b""),
        ]
    )
    return der(0x30, bytes.fromhex("06092a864886f70d010702") + der(0xA0, der(0x30, signed)))


def _deep_der(depth: int) -> bytes:
    content = b""
    for _ in range(depth):
        content = der(0x30, content)
    return content


def _packed_again(content: bytes, times: int) -> bytes:
    for _ in range(times):
        content = zlib.compress(content, 9)
    return content


def _paths(base: Base) -> bytes:
    """Make objects that lead to each other in so many ways that nobody can go along all of them."""
    levels = 40
    objects = {FIRST + n: b"[%d 0 R %d 0 R]" % (FIRST + n + 1, FIRST + n + 1) for n in range(levels)}
    return update(base, {**objects, FIRST + levels: b"null", base.root: base.root_with(Extra=b"%d 0 R" % FIRST)})


def _own_previous(base: Base, *, name: bytes = b"/Prev") -> bytes:
    at = len(base.pdf) + 1
    entry = b"%s %d" % (name, at)
    table = b"xref\n0 1\n0000000000 65535 f \ntrailer\n<< /Size 6000 /Root %d 0 R %s >>\n" % (base.root, entry)
    return base.pdf + b"\n" + table + b"startxref\n%d\n%%%%EOF\n" % at


def _table(base: Base, head: bytes) -> bytes:
    at = len(base.pdf) + 1
    rest = b"trailer\n<< /Size 6000 /Root %d 0 R /Prev %d >>\n" % (base.root, base.startxref)
    return base.pdf + b"\nxref\n" + head + b"0000000000 65535 f \n" + rest + b"startxref\n%d\n%%%%EOF\n" % at


def _endless_comment(base: Base) -> bytes:
    head = b"%d 0 " % base.root
    return _object_stream(b"/N 1 /First %d" % len(head), zlib.compress(head + b"% no line ends here"))(base)


def _behind_comment(base: Base) -> bytes:
    bomb = zeros(100 * MIB, byte=b" ")
    about = b"<< /Type /Metadata /Subtype /XML /Filter /FlateDecode /Length %d >>" % len(bomb)
    text = about + b" % not seen?\nstream\n" + bomb + b"\nendstream"
    return update(base, {FIRST: text, base.root: base.root_with(Metadata=b"%d 0 R" % FIRST)})


def _listed_twice(base: Base) -> bytes:
    """Say of an object first where it stands, and then that it is free: readers differ on which of them counts."""
    pdf = _metadata(ENTITIES)(base)
    entry = re.search(rb"\n5000 1\n(\d{10}) 00000 n \n", pdf)
    assert entry is not None
    again = b"5000 1\n0000000000 00001 f \n"
    return pdf[: entry.end()] + again + pdf[entry.end() :]


def _hybrid(base: Base) -> bytes:
    """Say in the table that the metadata are nowhere, and in the stream beside it where they stand."""
    body = base.pdf + b"\n"
    bomb = b"5000 0 obj\n%s\nendobj\n" % stream(zlib.compress(ENTITIES), b"/Type /Metadata /Subtype /XML")
    places = b"\1" + len(body).to_bytes(4) + b"\0\0"
    at = len(body) + len(bomb)
    text = stream(zlib.compress(places), b"/Type /XRef /Size 6000 /W [1 4 2] /Index [5000 1]")
    beside = b"5002 0 obj\n%s\nendobj\n" % text
    catalog = b"%d 0 obj\n%s\nendobj\n" % (base.root, base.root_with(Metadata=b"5000 0 R"))
    table = b"xref\n%d 1\n%010d 00000 n \n5000 1\n0000000000 65535 f \n" % (base.root, at + len(beside))
    trailer = b"<< /Size 6000 /Root %d 0 R /Prev %d /XRefStm %d >>" % (base.root, base.startxref, at)
    end = at + len(beside) + len(catalog)
    return body + bomb + beside + catalog + table + b"trailer\n%s\nstartxref\n%d\n%%%%EOF\n" % (trailer, end)


def _rows_undone_otherwise(base: Base) -> bytes:
    """Say where the metadata stand in a row prepared by what stands before each byte.

    Undone by the standard it leads to a harmless object, and as the library was seen to undo it to entities.
    """
    high = len(base.pdf) // 0x10000 + 2
    # The running sum of these bytes is the one place, the sum of each with the one before it the other.
    row = bytes([1, 0xFF, high, -high & 0xFF, 0, 0, 0])
    harmless_at, entities_at = high << 16, (high - 1 << 16) + (-high & 0xFF)
    body = (base.pdf + b"\n").ljust(entities_at)
    body += b"5000 0 obj\n%s\nendobj\n" % stream(zlib.compress(ENTITIES), b"/Type /Metadata /Subtype /XML")
    rows = b"\2\1" + len(body).to_bytes(4) + b"\0\0" + b"\1" + row
    body += b"%d 0 obj\n%s\nendobj\n" % (base.root, base.root_with(Metadata=b"5000 0 R"))
    body = body.ljust(harmless_at) + b"5000 0 obj\nnull\nendobj\n"
    head = b"/Size 6000 /W [1 4 2] /Index [%d 1 5000 1] /Prev %d" % (base.root, base.startxref)
    prepared = b"/Type /XRef /Root %d 0 R %s /DecodeParms << /Predictor 12 /Columns 7 >>" % (base.root, head)
    text = stream(zlib.compress(rows), prepared)
    return body + b"5002 0 obj\n%s\nendobj\nstartxref\n%d\n%%%%EOF\n" % (text, len(body))


def _second_generation(base: Base) -> bytes:
    before, _, after = update(base, {FIRST: b"null"}).rpartition(b"00000 n \ntrailer")
    return before + b"00001 n \ntrailer" + after


# What the requirement names.
NAMED: Mapping[str, Make] = {
    "cross-reference stream of 100 MB": _xref_bomb,
    "object stream of 100 MB": _object_stream(b"/N 10 /First 100", zeros(100 * MIB, byte=b" ")),
    "arrays 100,000 deep": _one_object(b"[" * 100_000 + b"]" * 100_000),
    "page tree that is its own branch": _pages(first=b"<< /Type /Pages /Count 1 /Kids [{first}] >>"),
    "entities of entities in the metadata": _metadata(ENTITIES),
    "metadata of 100 MB": _metadata(zeros(100 * MIB, byte=b" "), is_packed=True),
}
# And others of their kinds.
OTHERS: Mapping[str, Make] = {
    "cross-reference stream of another size than it says": _xref_bomb_without_entries,
    "cross-reference rows two billion bytes wide": _xref_with_predictor,
    "eight million prepared cross-reference rows": _xref_rows,
    "cross-reference entries a billion bytes wide": _xref(b"/Size 20 /W [1 1000000000 2]"),
    "cross-reference entries without width": _xref(b"/Size 2147483647 /W [0 0 0]"),
    "two billion cross-references": _xref(b"/Size 2147483648 /W [1 4 2]"),
    "a range of two billion": _xref(b"/Size 20 /W [1 4 2] /Index [0 2000000000]"),
    "ranges that are no pairs": _xref(b"/Size 20 /W [1 4 2] /Index [0 1 2]"),
    "cross-references packed eight times": lambda base: xref_stream(
        base,
        _packed_again(zeros(17 * 6_000_000), 7),
        b"/Size 1000 /W [1 8 8]",
        filters=b"[" + b"/FlateDecode " * 8 + b"]",
    ),
    "previous cross-references are these": _own_previous,
    "hybrid cross-references are these": lambda base: _own_previous(base, name=b"/XRefStm"),
    "table of two billion": lambda base: _table(base, b"0 2000000000\n"),
    "table of numbers without end": lambda base: _table(base, b"0 " + b"9" * 5000 + b"\n"),
    "object stream with a billion objects": _object_stream(b"/N 1000000000 /First 10", zlib.compress(b"1 0 ")),
    "object stream of 100,000 objects": _object_stream(
        b"/N 100000 /First 1288890", zlib.compress(b"".join(b"%d 0 " % (n + 6000) for n in range(100_000)) + b"null")
    ),
    "object stream that extends itself": _object_stream(
        b"/N 1 /First 8 /Extends 5001 0 R", zlib.compress(b"5001 0  null")
    ),
    "object stream inside itself": _object_stream(b"/N 1 /First 4", zlib.compress(b"5 0 null"), number=5001),
    "length that is the stream itself": _one_object(b"<< /Length 5000 0 R >>\nstream\nabc\nendstream"),
    "lengths that lead to each other": lambda base: update(
        base,
        {
            FIRST: b"<< /Length 5001 0 R >>\nstream\nabc\nendstream",
            FIRST + 1: b"<< /Length 5000 0 R >>\nstream\nabc\nendstream",
            base.root: base.root_with(Metadata=b"5000 0 R"),
        },
    ),
    "length of a thousand digits": _one_object(b"<< /Length " + b"9" * 1000 + b" >>\nstream\nabc\nendstream"),
    "dictionaries 100,000 deep": _one_object(b"<< /A " * 100_000 + b"1" + b">>" * 100_000),
    "a number of 5,000 digits": _one_object(b"9" * 5000),
    "a name of a million bytes": _one_object(b"/" + b"x" * 1_000_000),
    "two million numbers": _one_object(b"[" + b"1 " * 2_000_000 + b"]"),
    "a comment without end": _endless_comment,
    "a string without end": _one_object(b"(" * 1_000_000),
    "an attachment of a gigabyte": _attachment(zeros(1024 * MIB)),
    "an attachment packed three times": _attachment(
        _packed_again(zeros(200 * MIB), 2), filters=b"[/FlateDecode /FlateDecode /FlateDecode]"
    ),
    "an attachment as text, packed": _attachment(b"z" * 3_000_000, filters=b"[/ASCII85Decode /FlateDecode]"),
    "an attachment by dictionary": _attachment(b"\x80\x0b\x60\x50" * 1000, filters=b"/LZWDecode"),
    "an attachment by runs": _attachment(b"\x81\0" * 500_000, filters=b"/RunLengthDecode"),
    "metadata packed twice": _metadata(
        _packed_again(zeros(100 * MIB), 1), filters=b"[/FlateDecode /FlateDecode]", is_packed=True
    ),
    "metadata with entities, in another encoding": _metadata(
        b'<?xml version="1.0" encoding="UTF-16"?>'.decode().encode("utf-16") + ENTITIES.decode().encode("utf-16-le")
    ),
    "metadata in an encoding that hides entities": _metadata(
        b'<?xml version="1.0" encoding="UTF-7"?>' + ENTITIES.decode().encode("utf-7")
    ),
    "metadata behind a comment": _behind_comment,
    "metadata that are listed twice": _listed_twice,
    "metadata that only a hybrid's stream lists": _hybrid,
    "metadata that only the library's way of undoing rows leads to": _rows_undone_otherwise,
    "an object of a second generation": _second_generation,
    "pages that lead back": _pages(
        first=b"<< /Type /Pages /Count 1 /Kids [{second}] >>", second=b"<< /Type /Pages /Count 1 /Kids [{first}] >>"
    ),
    "200,000 pages": _long_page_tree,
    "fields that lead back": _form(b"5000 0 R", n5000=b"<< /FT /Sig /T (a) /Kids [5000 0 R] >>"),
    "100,000 fields for signatures": _form(b"".join(b"<< /FT /Sig /T (f%d) >>" % n for n in range(100_000))),
    "names of attachments that lead back": _attachments(b"5000 0 R", n5000=b"<< /Kids [5000 0 R] >>"),
    "a signature with 100,000 certificates": _signature(_cms(der(0x30, b"") * 100_000)),
    "a signature of lengths that lie": _signature(bytes.fromhex("3084ffffffff0609") + bytes(100)),
    "a signature of lengths of lengths": _signature(bytes.fromhex("30fe") + b"\xff" * 126),
    "a signature 10,000 deep": _signature(_deep_der(10_000)),
    "ranges of a signature beyond everything": _signature(_cms(b""), b"0 10 20 99999999999999999999"),
    "ranges of a signature below everything": _signature(_cms(b""), b"0 -10 20 -99999"),
    "objects that lead to each other in a trillion ways": _paths,
}


HOSTILE: Mapping[str, Make] = {**NAMED, **OTHERS}
