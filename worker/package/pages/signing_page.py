"""Draw the second page; what is signed after issue goes into its frames."""

from collections.abc import Mapping
from types import MappingProxyType

from service.vocabulary.signatures import SignaturePlace
from worker.package.document_model import SignatureFrame, SigningPage
from worker.package.fonts.text_style import BODY, CONTENT_WIDTH, HEADING, LABEL, LEFT, NOTE, QUIET, SUBHEADING, TOP
from worker.package.pages.canvas import Canvas

Box = tuple[int, int, int, int]

# Left, bottom, right, top on the second page, in points from its lower left corner. The longest reason that is taken
# and many segments find room in the decision's, at a size that can be read.
SIGNATURE_BOXES: Mapping[SignaturePlace, Box] = MappingProxyType(
    {
        SignaturePlace.DECISION: (48, 222, 547, 650),
        SignaturePlace.CONTRACTOR: (48, 94, 288, 166),
        SignaturePlace.ENGINEER: (307, 94, 547, 166),
    }
)

_TITLE_Y, _INTRODUCTION_Y, _NOTE_Y = TOP - 20.0, TOP - 42.0, 80.0
_INTRODUCTION_LINES, _NOTE_LINES = 5, 3
_TITLE_OVER_FRAME_PT, _NOTE_OVER_FRAME_PT, _INSIDE_PT = 20.0, 7.0, 8.0


def draw_signing_page(canvas: Canvas, page: SigningPage) -> None:
    """Draw what is printed around the frames."""
    fold = canvas.metrics.fold_at_most
    canvas.write(HEADING, [(LEFT, _TITLE_Y, page.title)])
    introduction = fold(page.introduction.text, BODY, width_pt=CONTENT_WIDTH, lines=_INTRODUCTION_LINES)
    canvas.write_lines(BODY, introduction, left=LEFT, top=_INTRODUCTION_Y)
    decision = SIGNATURE_BOXES[SignaturePlace.DECISION]
    canvas.frame(decision, width_pt=0.6, colour=QUIET)
    canvas.write(SUBHEADING, [(LEFT, decision[3] + _NOTE_OVER_FRAME_PT, page.decision_title)])
    _draw_frame(canvas, page.contractor_frame, SIGNATURE_BOXES[SignaturePlace.CONTRACTOR])
    _draw_frame(canvas, page.engineer_frame, SIGNATURE_BOXES[SignaturePlace.ENGINEER])
    note = fold(page.note.text, NOTE, width_pt=CONTENT_WIDTH, lines=_NOTE_LINES)
    canvas.write_lines(NOTE, note, left=LEFT, top=_NOTE_Y)


def _draw_frame(canvas: Canvas, frame: SignatureFrame, box: Box) -> None:
    left, _, right, top = box
    canvas.frame(box, width_pt=0.6, colour=QUIET)
    canvas.write(SUBHEADING, [(left, top + _TITLE_OVER_FRAME_PT, frame.title)])
    note = canvas.metrics.shorten(frame.note, LABEL, width_pt=right - left)
    canvas.write(LABEL, [(left, top + _NOTE_OVER_FRAME_PT, note)])
    if frame.inside is not None:
        lines = canvas.metrics.fold(frame.inside, NOTE, width_pt=right - left - 2 * _INSIDE_PT)
        canvas.write_lines(NOTE, lines, left=left + _INSIDE_PT, top=top - _INSIDE_PT - NOTE.size_pt)
