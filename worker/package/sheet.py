"""What stands on every page: the package's number, the page's number, and whether this is a demonstration."""

from worker.package.look import ACCENT, BAND, CONTENT_WIDTH, HAIR, LEFT, RIGHT, RUNNING
from worker.package.pen import Pen
from worker.package.pieces import PackageView

DEMONSTRATION = "DEMONSTRATION - not for real use"

_BAND_BOTTOM, _BAND_TOP = 806.0, 824.0
_HEADER_Y, _HEADER_RULE_Y = 790.0, 783.5
_FOOTER_Y, _FOOTER_RULE_Y = 32.0, 43.0


def draw_frame(pen: Pen, view: PackageView, *, page: int, pages: int) -> None:
    """Draw a page's header and footer."""
    if view.is_demonstration:
        pen.fill([(LEFT, _BAND_BOTTOM, RIGHT, _BAND_TOP)], ACCENT)
        middle = (LEFT + RIGHT - pen.ruler.width(DEMONSTRATION, BAND)) / 2
        pen.write(BAND, [(middle, _BAND_BOTTOM + 5.6, DEMONSTRATION)])
    half_pt = CONTENT_WIDTH / 2 - 10
    title = pen.ruler.shorten(view.title, RUNNING, width_pt=half_pt)
    project = pen.ruler.shorten(view.project, RUNNING, width_pt=half_pt)
    subject = pen.ruler.shorten(view.subject, RUNNING, width_pt=CONTENT_WIDTH - 90)
    pen.write(RUNNING, [(LEFT, _HEADER_Y, title), (LEFT, _FOOTER_Y, subject)])
    pen.write_right(RUNNING, [(RIGHT, _HEADER_Y, project), (RIGHT, _FOOTER_Y, f"page {page} of {pages}")])
    pen.rules([_HEADER_RULE_Y, _FOOTER_RULE_Y], left=LEFT, right=RIGHT, width_pt=0.4, colour=HAIR)
