"""Measure and break text before it is drawn."""

import unicodedata
from collections.abc import Container
from functools import cache

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from worker.package.archive.rules import set_right_widths
from worker.package.fonts.text_style import FONTS, Face, Style

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
# Line ends and tabs part words, so they become spaces; every other control goes.
_PARTING = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u2028\u2029")


def without_controls(text: str) -> str:
    """Return text without control, format and surrogate characters."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(map(_harmless, text))


def with_glyphs(text: str, known: Container[int]) -> str:
    """Return text in which each character that the face cannot draw is visibly replaced."""
    harmless = without_controls(text)
    if all(map(known.__contains__, map(ord, harmless))):
        return harmless
    return "".join(character if ord(character) in known else REPLACEMENT for character in harmless)


def _harmless(character: str) -> str:
    if character in _PARTING:
        return " "
    category = unicodedata.category(character)
    if category in {"Cc", "Cf"}:
        return ""
    return REPLACEMENT if category in {"Cs", "Co", "Cn"} else character


@cache
def load_face(face: Face) -> TTFont:
    """Return a typeface, read once per process."""
    font = TTFont(face.value, FONTS / f"{face.value}.ttf", shapable=False)
    set_right_widths(font.face)
    pdfmetrics.registerFont(font)
    return font


def load_faces() -> None:
    """Read every typeface at once."""
    for face in Face:
        load_face(face)


class FontMetrics:
    """Widths and lines of text, remembered: a table repeats the same short texts by the thousand."""

    def __init__(self) -> None:
        self._clean: dict[Face, dict[str, str]] = {face: {} for face in Face}
        self._widths: dict[Face, dict[str, float]] = {face: {} for face in Face}

    def clean(self, text: str, face: Face) -> str:
        """Return the text as the face can draw it."""
        known = self._clean[face]
        if text not in known:
            known[text] = with_glyphs(text, load_face(face).face.charToGlyph)
        return known[text]

    def width(self, text: str, style: Style) -> float:
        """Return how wide a line is, in points."""
        widths = self._widths[style.face]
        if text not in widths:
            widths[text] = load_face(style.face).stringWidth(self.clean(text, style.face), 1)
        return widths[text] * style.size_pt

    def fold(self, text: str, style: Style, *, width_pt: float) -> tuple[str, ...]:
        """Return the lines of a text; a word longer than a line is cut."""
        if self.width(text, style) <= width_pt:
            return (text,)
        lines: list[str] = []
        line = ""
        for word in self.clean(text, style.face).split():
            longer = f"{line} {word}" if line else word
            if self.width(longer, style) <= width_pt:
                line = longer
                continue
            if line:
                lines.append(line)
            *cut, line = self._cut(word, style, width_pt=width_pt)
            lines += cut
        return (*lines, line)

    def fold_at_most(self, text: str, style: Style, *, width_pt: float, lines: int) -> tuple[str, ...]:
        """Return the first lines of a text, the last of them with an ellipsis where more would follow."""
        folded = self.fold(text, style, width_pt=width_pt)
        return folded if len(folded) <= lines else (*folded[: lines - 1], f"{folded[lines - 1]}…")

    def shorten(self, text: str, style: Style, *, width_pt: float) -> str:
        """Return the text on one line, its end replaced by an ellipsis where it does not fit."""
        if self.width(text, style) <= width_pt:
            return text
        room = width_pt - self.width("…", style)
        return self._cut(self.clean(text, style.face), style, width_pt=room)[0].rstrip() + "…"

    def _cut(self, word: str, style: Style, *, width_pt: float) -> list[str]:
        pieces, start, used_pt = [], 0, 0.0
        for index, character in enumerate(word):
            character_pt = self.width(character, style)
            if used_pt + character_pt > width_pt and index > start:
                pieces.append(word[start:index])
                start, used_pt = index, 0.0
            used_pt += character_pt
        return [*pieces, word[start:]]
