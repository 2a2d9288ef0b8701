"""Write text, rules and boxes on a canvas.

Text goes out as content-stream operators, one text object for all rows of a page. Nothing here reads markup.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from reportlab.lib.rl_accel import escapePDF
from reportlab.pdfbase import pdfdoc

from worker.package.look import Rgb, Style
from worker.package.plain_text import without_controls
from worker.package.ruler import Ruler, load_face

At = tuple[float, float, str]


class Pen:
    """Draws on one canvas."""

    def __init__(self, canvas: Any, document: Any, ruler: Ruler, *, targets: Mapping[str, tuple[int, float]]) -> None:
        self._canvas = canvas
        self._document = document
        self.ruler = ruler
        self._targets = targets
        self._operators: dict[Style, dict[str, str]] = {}

    def write(self, style: Style, texts: Iterable[At]) -> None:
        """Write lines of text, each with its left end at a point."""
        shown = (f"1 0 0 1 {x:.2f} {y:.2f} Tm {self.operators(style, text, within=style)}" for x, y, text in texts)
        self.write_operators(style, shown)

    def write_right(self, style: Style, texts: Iterable[At]) -> None:
        """Write lines of text, each with its right end at a point."""
        width = self.ruler.width
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

    def fill(self, boxes: Iterable[tuple[float, float, float, float]], colour: Rgb) -> None:
        """Fill boxes, each given by its left, bottom, right and top."""
        paths = [f"{x1:.2f} {y1:.2f} {x2 - x1:.2f} {y2 - y1:.2f} re" for x1, y1, x2, y2 in boxes]
        if paths:
            self._canvas.addLiteral(f"{_rgb(colour)} rg {' '.join(paths)} f")

    def frame(self, box: tuple[float, float, float, float], *, width_pt: float, colour: Rgb) -> None:
        """Draw the outline of a box."""
        x1, y1, x2, y2 = box
        path = f"{x1:.2f} {y1:.2f} {x2 - x1:.2f} {y2 - y1:.2f} re"
        self._canvas.addLiteral(f"{_rgb(colour)} RG {width_pt:.2f} w {path} S")

    def area(self, points: Sequence[tuple[float, float]], colour: Rgb) -> None:
        """Fill a shape, given by its corners."""
        self._canvas.addLiteral(f"{_rgb(colour)} rg {_path(points)} f")

    def stroke(self, points: Sequence[tuple[float, float]], *, width_pt: float, colour: Rgb, is_dashed: bool) -> None:
        """Draw a line through points."""
        pattern = "[2.4 1.6] 0 d" if is_dashed else "[] 0 d"
        self._canvas.addLiteral(f"{_rgb(colour)} RG {width_pt:.2f} w {pattern} {_path(points)} S [] 0 d")

    def enter_in_outline(self, title: str, *, key: str, y: float) -> None:
        """Let the document's outline lead to a height on the current page."""
        self._canvas.bookmarkPage(key, fit="XYZ", left=0, top=y)
        self._canvas.addOutlineEntry(without_controls(title), key, level=0)

    def link(self, box: tuple[float, float, float, float], *, leads_to: str) -> None:
        """Let a place on the current page lead to what has a key."""
        page, y = self._targets[leads_to]
        self._canvas._addAnnotation(_Link(box, page=page, y=y))

    def _show(self, text: str, style: Style) -> str:
        # A face with more characters than a subset holds is written in several subsets; each line ends in the first.
        chunks = load_face(style.face).splitString(self.ruler.clean(text, style.face), self._document)
        operators: list[str] = []
        for subset, codes in chunks:
            if subset == 0:
                operators.append(f"({escapePDF(codes)}) Tj")
            else:
                font, first = self._font(style, subset=subset), self._font(style, subset=0)
                operators.append(f"{font} ({escapePDF(codes)}) Tj {first}")
        return " ".join(operators)

    def _set(self, style: Style) -> str:
        return f"{_rgb(style.colour)} rg {self._font(style, subset=0)}"

    def _font(self, style: Style, *, subset: int) -> str:
        name = load_face(style.face).getSubsetInternalName(subset, self._document)
        return f"{name} {style.size_pt:.2f} Tf"


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


def _rgb(colour: Rgb) -> str:
    return "{:.3f} {:.3f} {:.3f}".format(*colour)


def _path(points: Sequence[tuple[float, float]]) -> str:
    (x, y), *others = points
    return " ".join([f"{x:.2f} {y:.2f} m", *(f"{x:.2f} {y:.2f} l" for x, y in others)])
