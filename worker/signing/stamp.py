"""What a countersignature shows on the page."""

from collections.abc import Sequence
from functools import lru_cache
from io import BytesIO
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

LARGEST_FONT_SIZE_PT = 9.0
LINE_SPACING = 1.25
PADDING_PT = 4.0
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def draw_stamp(lines: Sequence[str], *, width_pt: float, height_pt: float, font_file: Path) -> bytes:
    """Draw the lines into a framed one-page PDF of this size, as large as they fit, with the font embedded."""
    font_name = _register_font(font_file)
    shown = [_printable(line, font_name=font_name) for line in lines]
    size_pt = _fitting_size_pt(shown, font_name=font_name, width_pt=width_pt, height_pt=height_pt)
    buffer = BytesIO()
    # The library names Helvetica, not embedded, on every page unless told otherwise.
    canvas = Canvas(buffer, pagesize=(width_pt, height_pt), invariant=1, initialFontName=font_name)
    canvas.setLineWidth(0.5)
    canvas.rect(0.5, 0.5, width_pt - 1, height_pt - 1)
    canvas.setFont(font_name, size_pt)
    for index, line in enumerate(shown):
        canvas.drawString(PADDING_PT, height_pt - PADDING_PT - size_pt - index * size_pt * LINE_SPACING, line)
    canvas.save()
    return buffer.getvalue()


@lru_cache(maxsize=8)
def _register_font(font_file: Path) -> str:
    name = f"Stamp-{font_file.stem}"
    pdfmetrics.registerFont(TTFont(name, str(font_file)))
    return name


def _printable(line: str, *, font_name: str) -> str:
    # Without this a character the font lacks prints as a blank, and a bidirectional control could reorder a name.
    glyphs = pdfmetrics.getFont(font_name).face.charToGlyph
    return "".join(c if c.isprintable() and ord(c) in glyphs else REPLACEMENT for c in line)


def _fitting_size_pt(lines: Sequence[str], *, font_name: str, width_pt: float, height_pt: float) -> float:
    widest = max((pdfmetrics.stringWidth(line, font_name, 1.0) for line in lines), default=0.0)
    by_width = (width_pt - 2 * PADDING_PT) / widest if widest else LARGEST_FONT_SIZE_PT
    by_height = (height_pt - 2 * PADDING_PT) / (max(len(lines), 1) * LINE_SPACING)
    return float(min(LARGEST_FONT_SIZE_PT, by_width, by_height))
