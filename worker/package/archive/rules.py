"""Make ReportLab keep the rules of PDF/A-3b (ISO 19005-3) where its own output does not.

The patches below are process-wide, since ReportLab makes streams, pages and character maps deep inside; they leave
ordinary documents valid. The rest is done to one document at a time. Whatever is private to ReportLab is touched here
and nowhere else, under an upper bound on its version; `tests/unit/package/archive/test_rules` says what a newer one
breaks.
"""

import zlib
from collections.abc import Iterator, Sequence
from typing import Any

from reportlab import rl_config
from reportlab.pdfbase import pdfdoc, ttfonts

# ASCII85 makes every stream a quarter larger and slower, for transports that are not 8-bit clean.
rl_config.useA85 = 0
# Nothing here reads markup or colours from text; if anything ever did, it must not fetch or evaluate.
rl_config.trustedHosts = []
rl_config.trustedSchemes = []
rl_config.toColorCanUse = None

_format_stream = pdfdoc.PDFStream.format
# A bfchar block may hold 100 entries; ReportLab puts a whole subset into one.
_ENTRIES_IN_BLOCK = 100


def document_of(canvas: Any) -> Any:
    """Return the document behind a canvas."""
    return canvas._doc


def add_link(canvas: Any, box: tuple[float, float, float, float], *, page: int, y: float) -> None:
    """Let a place on the current page lead to a height on another, which may be still to come."""
    canvas._addAnnotation(_Link(box, page=page, y=y))


def allow_in_catalog(document: Any, names: Sequence[str]) -> None:
    """Let a document's catalog keep entries that it drops without a word, such as /OutputIntents and /AF."""
    catalog = document.Catalog
    catalog.__NoDefault__ = [*catalog.__NoDefault__, *names]


def set_right_widths(face: Any) -> None:
    """Give the glyphs past a font's full metrics the width of the last in them, in the font's own units.

    ReportLab gives them that width in thousandths of an em, so an embedded subset contradicts the document's widths
    (ISO 19005-3, 6.2.11.5, from memory); in a monospaced font it is nearly every glyph.
    """
    full = int.from_bytes(face.get_table("hhea")[34:36], "big")
    width = face.hmetrics[full - 1][0]
    face.hmetrics[full:] = [(width, bearing) for _, bearing in face.hmetrics[full:]]


def pdf_name(text: str) -> str:
    """Return a PDF name; a solidus in it is written as #2F, since ReportLab would leave it to end the name."""
    return "/" + text.replace("/", "#2F")


class _Link(pdfdoc.PDFObject):  # type: ignore[misc]
    """A link annotation that names its place: the library makes an object of each place, and a signature checks all."""

    __slots__ = ("_box", "_page", "_y")

    def __init__(self, box: tuple[float, float, float, float], *, page: int, y: float) -> None:
        self._box = box
        self._page = page
        self._y = y

    def format(self, document: Any) -> bytes:
        """Return the object; it has the print flag that ISO 19005-3, 6.3.2, asks for (from memory)."""
        edges = " ".join(f"{edge:.1f}" for edge in self._box)
        # The library names its pages so, those still to come too.
        page: bytes = pdfdoc.PDFObjectReference(f"Page{self._page}").format(document)
        start = f"<< /Type /Annot /Subtype /Link /Rect [{edges}] /Border [0 0 0] /F 4 /Dest ["
        return start.encode("ascii") + page + f" /XYZ 0 {self._y:.1f} null] >>".encode("ascii")


def _end_stream_on_its_own_line(stream: Any, document: Any) -> bytes:
    """Write a stream with an end of line before `endstream`: PDF/A asks for it, ReportLab leaves it out."""
    written: bytes = _format_stream(stream, document)
    return written.removesuffix(b"endstream\n") + b"\nendstream\n"


def _compress_at_once(page: Any, code: Any) -> None:
    """Keep a page's content compressed until the document is saved: as text, 1,500 pages take 40 MB."""
    text = code if isinstance(code, str) else "\n".join(code) + "\n"
    page.Contents = pdfdoc.PDFStream(
        dictionary=pdfdoc.PDFDictionary({"Filter": "/FlateDecode"}), content=zlib.compress(text.encode("utf8"))
    )


def _map_used_codes(font_name: str, subset: Sequence[int]) -> str:
    """Return the ToUnicode map without unused codes: ReportLab maps them to U+0000, which PDF/A forbids at level U."""
    entries = [f"<{code:02X}> <{_utf_16(character)}>" for code, character in enumerate(subset) if character]
    return "\n".join(
        [
            "/CIDInit /ProcSet findresource begin",
            "12 dict begin",
            "begincmap",
            f"/CIDSystemInfo << /Registry ({font_name}) /Ordering ({font_name}) /Supplement 0 >> def",
            f"/CMapName /{font_name} def",
            "/CMapType 2 def",
            "1 begincodespacerange",
            "<00> <FF>",
            "endcodespacerange",
            *_blocks(entries),
            "endcmap",
            "CMapName currentdict /CMap defineresource pop",
            "end",
            "end",
        ]
    )


def _blocks(entries: Sequence[str]) -> Iterator[str]:
    for start in range(0, len(entries), _ENTRIES_IN_BLOCK):
        block = entries[start : start + _ENTRIES_IN_BLOCK]
        yield f"{len(block)} beginbfchar"
        yield from block
        yield "endbfchar"


def _utf_16(character: int) -> str:
    return chr(character).encode("utf-16-be").hex().upper()


pdfdoc.PDFStream.format = _end_stream_on_its_own_line
pdfdoc.PDFPage.setStream = _compress_at_once
ttfonts.makeToUnicodeCMap = _map_used_codes
