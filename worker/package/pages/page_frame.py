"""What stands on every page: the package's number, the page's number, and whether this is a demonstration."""

from worker.package.document_model import PackageView
from worker.package.fonts.text_style import ACCENT, BAND, CONTENT_WIDTH, HAIR, LEFT, RIGHT, RUNNING
from worker.package.pages.canvas import Canvas

DEMONSTRATION = "DEMONSTRATION - not for real use"

_BAND_BOTTOM, _BAND_TOP = 806.0, 824.0
_HEADER_Y, _HEADER_RULE_Y = 790.0, 783.5
_FOOTER_Y, _FOOTER_RULE_Y = 32.0, 43.0


def draw_page_frame(canvas: Canvas, view: PackageView, *, page: int, pages: int) -> None:
    """Draw a page's header and footer."""
    if view.is_demonstration:
        canvas.fill([(LEFT, _BAND_BOTTOM, RIGHT, _BAND_TOP)], ACCENT)
        middle = (LEFT + RIGHT - canvas.metrics.width(DEMONSTRATION, BAND)) / 2
        canvas.write(BAND, [(middle, _BAND_BOTTOM + 5.6, DEMONSTRATION)])
    half_pt = CONTENT_WIDTH / 2 - 10
    title = canvas.metrics.shorten(view.title, RUNNING, width_pt=half_pt)
    project = canvas.metrics.shorten(view.project, RUNNING, width_pt=half_pt)
    subject = canvas.metrics.shorten(view.subject, RUNNING, width_pt=CONTENT_WIDTH - 90)
    canvas.write(RUNNING, [(LEFT, _HEADER_Y, title), (LEFT, _FOOTER_Y, subject)])
    canvas.write_right(RUNNING, [(RIGHT, _HEADER_Y, project), (RIGHT, _FOOTER_Y, f"page {page} of {pages}")])
    canvas.rules([_HEADER_RULE_Y, _FOOTER_RULE_Y], left=LEFT, right=RIGHT, width_pt=0.4, colour=HAIR)
