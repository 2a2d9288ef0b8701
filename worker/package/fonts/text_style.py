"""Sizes, faces and colours: A4, one accent, and outcomes that a grey copy and a colour-blind reader tell apart."""

from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from service.vocabulary.findings.words import Outcome

FONTS = Path(__file__).parent
REGULAR_FONT = FONTS / "DejaVuSans.ttf"


PAGE_WIDTH, PAGE_HEIGHT = 595.28, 841.89
LEFT, RIGHT = 48.0, PAGE_WIDTH - 48.0
CONTENT_WIDTH = RIGHT - LEFT
# The header band and the footer lie outside these two.
TOP, BOTTOM = PAGE_HEIGHT - 72.0, 58.0
# A line of running text longer than this tires the eye.
MEASURE = 420.0

Rgb = tuple[float, float, float]

INK: Rgb = (0.08, 0.09, 0.10)
QUIET: Rgb = (0.38, 0.42, 0.45)
HAIR: Rgb = (0.84, 0.86, 0.87)
ACCENT: Rgb = (0.04, 0.29, 0.35)
WARM: Rgb = (0.66, 0.23, 0.02)
WHITE: Rgb = (1.0, 1.0, 1.0)


class Face(StrEnum):
    """The typefaces, all embedded."""

    REGULAR = "DejaVuSans"
    BOLD = "DejaVuSans-Bold"
    CODE = "DejaVuSansMono"


@dataclass(frozen=True, kw_only=True, eq=False)
class Style:
    """How a line of text is set; each is made once, and looked up for every text by being the same."""

    face: Face = Face.REGULAR
    size_pt: float = 8.6
    leading_pt: float = 12.6
    colour: Rgb = INK


BODY = Style()
NOTE = Style(size_pt=7.4, leading_pt=10.4, colour=QUIET)
CODE = Style(face=Face.CODE, size_pt=7.2, leading_pt=10.4)
HEADING = Style(face=Face.BOLD, size_pt=14.5, leading_pt=20, colour=ACCENT)
SUBHEADING = Style(face=Face.BOLD, size_pt=8.8, leading_pt=12.6, colour=INK)
LABEL = Style(size_pt=8.0, leading_pt=12.0, colour=QUIET)
VALUE = Style(size_pt=8.0, leading_pt=12.0)
WARNING = Style(face=Face.BOLD, size_pt=8.0, leading_pt=12.0, colour=WARM)
CELL = Style(size_pt=7.0, leading_pt=8.8)
CELL_HEADING = Style(face=Face.BOLD, size_pt=6.6, leading_pt=8.4, colour=ACCENT)
CELL_UNIT = Style(size_pt=6.4, leading_pt=8.4, colour=QUIET)
RUNNING = Style(size_pt=7.2, leading_pt=9, colour=QUIET)
BAND = Style(face=Face.BOLD, size_pt=8.0, leading_pt=10, colour=WHITE)
TITLE = Style(face=Face.BOLD, size_pt=27, leading_pt=32, colour=ACCENT)
NUMBER = Style(face=Face.BOLD, size_pt=13, leading_pt=18, colour=INK)

# The filled square stands out where most are empty: that is where the reader has to look.
_MARKS = {Outcome.CONFORMING: "□", Outcome.NONCONFORMING: "■", Outcome.UNDETERMINED: "◧"}
OUTCOME_STYLES = {
    Outcome.CONFORMING: Style(size_pt=7.0, leading_pt=8.8, colour=ACCENT),
    Outcome.NONCONFORMING: Style(face=Face.BOLD, size_pt=7.0, leading_pt=8.8, colour=WARM),
    Outcome.UNDETERMINED: Style(face=Face.BOLD, size_pt=7.0, leading_pt=8.8, colour=INK),
}

# Of other sizes than the cells of tables, by which whoever reads a page by machine tells one from the other.
PICTURE = Style(size_pt=6.9, leading_pt=8.8)
PICTURE_NAME = Style(face=Face.BOLD, size_pt=6.7, leading_pt=8.4, colour=ACCENT)
PICTURE_QUIET = Style(size_pt=6.3, leading_pt=8.4, colour=QUIET)
PICTURE_OUTCOMES = {outcome: replace(style, size_pt=PICTURE.size_pt) for outcome, style in OUTCOME_STYLES.items()}


def marked(outcome: Outcome) -> str:
    """Return an outcome's word with its mark."""
    return f"{_MARKS[outcome]} {outcome.value}"


def marked_count(outcome: Outcome, count: int) -> str:
    """Return how many findings came out one way, with the mark; all that conform need no count."""
    counted = "all" if outcome is Outcome.CONFORMING else str(count)
    return f"{_MARKS[outcome]} {counted} {outcome.value}"
