"""What a countersignature shows on the page."""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import NamedTuple

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

SMALLEST_FONT_SIZE_PT = 6.0
_FONT_SIZES_PT = (9.0, 8.5, 8.0, 7.5, 7.0, 6.5, SMALLEST_FONT_SIZE_PT)
LINE_SPACING = 1.3
PADDING_PT = 6.0
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
# Of the stamp's width, where labels stand beside what they label.
_LABELS_SHARE = 0.2
_BETWEEN_LINES = 0.35

# A line of its own, or what is said beside its label.
StampLine = str | tuple[str, str]


def draw_stamp(versions: Sequence[Sequence[StampLine]], *, width_pt: float, height_pt: float, font_file: Path) -> bytes:
    """Draw lines into a framed one-page PDF of this size, as large as they fit, with the font embedded.

    Of the versions, the longest first, it is the first that fits; the last is made to fit.
    """
    font_name = _register_font(font_file)
    laid = _first_that_fits(versions, font_name=font_name, width_pt=width_pt, height_pt=height_pt)
    buffer = BytesIO()
    # The library names Helvetica, not embedded, on every page unless told otherwise.
    canvas = Canvas(buffer, pagesize=(width_pt, height_pt), invariant=1, initialFontName=font_name)
    canvas.setLineWidth(0.5)
    canvas.rect(0.5, 0.5, width_pt - 1, height_pt - 1)
    canvas.setFont(font_name, laid.size_pt)
    for placed in laid.placed:
        canvas.drawString(PADDING_PT + placed.x, height_pt - PADDING_PT - placed.down_pt, placed.text)
    canvas.save()
    return buffer.getvalue()


class _Placed(NamedTuple):
    """A line of text, from the left and down from the top of what the padding leaves."""

    x: float
    down_pt: float
    text: str


class _Laid(NamedTuple):
    """Lines in their places, at one size."""

    size_pt: float
    placed: tuple[_Placed, ...]

    @property
    def height_pt(self) -> float:
        """What they take from the top of the first to below the last."""
        # A line stands on its `down_pt`; what hangs below it has the rest of its spacing.
        return max((one.down_pt for one in self.placed), default=0.0) + (LINE_SPACING - 1) * self.size_pt


def _first_that_fits(
    versions: Sequence[Sequence[StampLine]], *, font_name: str, width_pt: float, height_pt: float
) -> _Laid:
    across_pt, room_pt = width_pt - 2 * PADDING_PT, height_pt - 2 * PADDING_PT
    for lines in versions:
        for size_pt in _FONT_SIZES_PT:
            laid = _lay_out(lines, font_name=font_name, size_pt=size_pt, width_pt=across_pt)
            if laid.height_pt <= room_pt:
                return laid
    # Too small to read beats cut off: whoever calls gives a last version that fits any frame of a package.
    size_pt = SMALLEST_FONT_SIZE_PT - 0.5
    while (laid := _lay_out(lines, font_name=font_name, size_pt=size_pt, width_pt=across_pt)).height_pt > room_pt:
        size_pt *= 0.9
    return laid


def _lay_out(lines: Sequence[StampLine], *, font_name: str, size_pt: float, width_pt: float) -> _Laid:
    beside_pt = _LABELS_SHARE * width_pt
    placed: list[_Placed] = []
    down_pt = 0.0
    for number, line in enumerate(lines):
        # A label stands on the first line of its text, which may go on below.
        label, text = ("", line) if isinstance(line, str) else line
        x = 0.0 if isinstance(line, str) else beside_pt
        down_pt += _BETWEEN_LINES * size_pt if number else 0.0
        if label:
            placed.append(_Placed(x=0.0, down_pt=down_pt + size_pt, text=_printable(label, font_name=font_name)))
        for folded in _folded(_printable(text, font_name=font_name), font_name, size_pt=size_pt, width_pt=width_pt - x):
            placed.append(_Placed(x=x, down_pt=down_pt + size_pt, text=folded))
            down_pt += LINE_SPACING * size_pt
    return _Laid(size_pt=size_pt, placed=tuple(placed))


def _folded(text: str, font_name: str, *, size_pt: float, width_pt: float) -> Iterator[str]:
    """Give the lines of a text; a word longer than a line is cut into several."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if pdfmetrics.stringWidth(longer, font_name, size_pt) <= width_pt:
            line = longer
            continue
        if line:
            yield line
        *full, line = _cut(word, font_name, size_pt=size_pt, width_pt=width_pt)
        yield from full
    yield line


def _cut(word: str, font_name: str, *, size_pt: float, width_pt: float) -> list[str]:
    pieces, piece = [], ""
    for character in word:
        if piece and pdfmetrics.stringWidth(piece + character, font_name, size_pt) > width_pt:
            pieces.append(piece)
            piece = ""
        piece += character
    return [*pieces, piece]


@lru_cache(maxsize=8)
def _register_font(font_file: Path) -> str:
    name = f"Stamp-{font_file.stem}"
    pdfmetrics.registerFont(TTFont(name, str(font_file)))
    return name


def _printable(line: str, *, font_name: str) -> str:
    # Without this a character the font lacks prints as a blank, and a bidirectional control could reorder a name.
    glyphs = pdfmetrics.getFont(font_name).face.charToGlyph
    return "".join(c if c.isprintable() and ord(c) in glyphs else REPLACEMENT for c in line)
