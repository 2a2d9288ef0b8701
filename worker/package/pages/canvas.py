"""Write text, rules and boxes on the pages of a document.

Text goes out as content-stream operators, one text object for all rows of a page. Nothing here reads markup.
"""

from collections.abc import Iterable, Mapping, Sequence
from io import BytesIO

from worker.package.archive.document import DocumentInformation, Packed, add_archive_parts, new_canvas
from worker.package.archive.rules import add_link, document_of
from worker.package.fonts.font_metrics import FontMetrics, load_face, without_controls
from worker.package.fonts.text_style import PAGE_HEIGHT, PAGE_WIDTH, Face, Rgb, Style
from worker.package.pages.placed import Box, Key, Target

At = tuple[float, float, str]
# A text in a document's own bytes, by code: ISO 32000-1, 7.3.4.2 (from memory), asks for brackets and reverse solidus
# only; all that is no printing ASCII is written in digits, so that a content stream is text.
_ESCAPES = {code: f"\\{code:03o}" for code in (*range(32), *range(127, 256))} | {
    ord(mark): f"\\{mark}" for mark in "\\()"
}


class Canvas:
    """The pages of one document, one after the other."""

    def __init__(self, about: DocumentInformation, metrics: FontMetrics, *, targets: Mapping[Key, Target]) -> None:
        self._about, self._file = about, BytesIO()
        first_font = load_face(Face.REGULAR).fontName
        self._canvas = new_canvas(self._file, about, size_pt=(PAGE_WIDTH, PAGE_HEIGHT), font_name=first_font)
        self._document = document_of(self._canvas)
        self.metrics = metrics
        self._targets = targets
        self._operators: dict[Style, dict[str, str]] = {}
        self._set_by: dict[Style, str] = {}

    def write(self, style: Style, texts: Iterable[At]) -> None:
        """Write lines of text, each with its left end at a point."""
        shown = (f"1 0 0 1 {x:.2f} {y:.2f} Tm {self.operators(style, text, within=style)}" for x, y, text in texts)
        self.write_operators(style, shown)

    def write_lines(self, style: Style, lines: Sequence[str], *, left: float, top: float) -> None:
        """Write lines of text one under the other, the first with its left end at a point."""
        self.write(style, [(left, top - index * style.leading_pt, line) for index, line in enumerate(lines)])

    def write_right(self, style: Style, texts: Iterable[At]) -> None:
        """Write lines of text, each with its right end at a point."""
        width = self.metrics.width
        self.write(style, [(x - width(text, style), y, text) for x, y, text in texts])

    def write_operators(self, style: Style, operators: Iterable[str]) -> None:
        """Write a text object that starts in a style."""
        self._canvas.addLiteral("\n".join(["BT", self._set(style), *operators, "ET"]))

    def operators(self, style: Style, text: str, *, within: Style) -> str:
        """Return the operators that show a text where the text object stands, and set `within` again after it."""
        shown = self._operators.setdefault(style, {})
        if text not in shown:
            shown[text] = self._show(text, style)
        if style is within:
            return shown[text]
        return f"{self._set(style)} {shown[text]} {self._set(within)}"

    def rules(self, levels: Iterable[float], *, left: float, right: float, width_pt: float, colour: Rgb) -> None:
        """Draw level lines from left to right."""
        paths = [f"{left:.2f} {y:.2f} m {right:.2f} {y:.2f} l" for y in levels]
        if paths:
            self._canvas.addLiteral(f"{_rgb(colour)} RG {width_pt:.2f} w {' '.join(paths)} S")

    def fill(self, boxes: Iterable[Box], colour: Rgb) -> None:
        """Fill boxes."""
        self._canvas.addLiteral(f"{_rgb(colour)} rg {' '.join(map(_rectangle, boxes))} f")

    def frame(self, box: Box, *, width_pt: float, colour: Rgb) -> None:
        """Draw the outline of a box."""
        self._canvas.addLiteral(f"{_rgb(colour)} RG {width_pt:.2f} w {_rectangle(box)} S")

    def area(self, points: Sequence[tuple[float, float]], colour: Rgb) -> None:
        """Fill a shape, given by its corners."""
        self._canvas.addLiteral(f"{_rgb(colour)} rg {_path(points)} f")

    def stroke(self, points: Sequence[tuple[float, float]], *, width_pt: float, colour: Rgb, is_dashed: bool) -> None:
        """Draw a line through points."""
        # A pattern holds for whatever is drawn next, and rules and frames set none: each line takes its own back.
        pattern = "[2.4 1.6] 0 d" if is_dashed else "[] 0 d"
        self._canvas.addLiteral(f"{_rgb(colour)} RG {width_pt:.2f} w {pattern} {_path(points)} S [] 0 d")

    def enter_in_outline(self, title: str, *, key: str, y: float) -> None:
        """Let the document's outline lead to a height on the current page."""
        self._canvas.bookmarkPage(key, fit="XYZ", left=0, top=y)
        self._canvas.addOutlineEntry(without_controls(title), key, level=0)

    def link(self, box: Box, *, leads_to: Key) -> None:
        """Let a place on the current page lead to another."""
        page, y = self._targets[leads_to]
        add_link(self._canvas, box, page=page, y=y)

    def end_page(self) -> None:
        """Go on to the next page."""
        self._canvas.showPage()

    def finish(self, *, attachments: Mapping[str, Packed]) -> bytes:
        """Return the document with what an archive asks for beside its pages."""
        add_archive_parts(self._document, self._about, attachments=attachments)
        self._canvas.save()
        return self._file.getvalue()

    def _show(self, text: str, style: Style) -> str:
        # A face with more characters than a subset holds is written in several subsets; each line ends in the first.
        chunks = load_face(style.face).splitString(self.metrics.clean(text, style.face), self._document)
        operators: list[str] = []
        for subset, codes in chunks:
            if subset == 0:
                operators.append(f"({_escaped(codes)}) Tj")
            else:
                font, first = self._font(style, subset=subset), self._font(style, subset=0)
                operators.append(f"{font} ({_escaped(codes)}) Tj {first}")
        return " ".join(operators)

    def _set(self, style: Style) -> str:
        if style not in self._set_by:
            self._set_by[style] = f"{_rgb(style.colour)} rg {self._font(style, subset=0)}"
        return self._set_by[style]

    def _font(self, style: Style, *, subset: int) -> str:
        name = load_face(style.face).getSubsetInternalName(subset, self._document)
        return f"{name} {style.size_pt:.2f} Tf"


def _escaped(codes: bytes) -> str:
    return codes.decode("latin-1").translate(_ESCAPES)


def _rgb(colour: Rgb) -> str:
    return "{:.3f} {:.3f} {:.3f}".format(*colour)


def _rectangle(box: Box) -> str:
    left, bottom, right, top = box
    return f"{left:.2f} {bottom:.2f} {right - left:.2f} {top - bottom:.2f} re"


def _path(points: Sequence[tuple[float, float]]) -> str:
    (x, y), *others = points
    return " ".join([f"{x:.2f} {y:.2f} m", *(f"{x:.2f} {y:.2f} l" for x, y in others)])
