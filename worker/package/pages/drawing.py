"""Draw a package: the same view and attachments give the same bytes, on any machine."""

from collections.abc import Mapping

from worker.package.archive.document import DocumentInformation, Packed
from worker.package.data.declarations import SIGNING_PAGE
from worker.package.document_model import PackageView
from worker.package.fonts.font_metrics import FontMetrics, without_controls
from worker.package.fonts.text_style import (
    ACCENT,
    BAND,
    CONTENT_WIDTH,
    HAIR,
    HEADING,
    LEFT,
    PAGE_HEIGHT,
    RIGHT,
    RUNNING,
)
from worker.package.pages.canvas import Canvas
from worker.package.pages.cover_page import draw_cover
from worker.package.pages.flow import place_sections
from worker.package.pages.placed import (
    PAGES_BEFORE,
    Page,
    PlacedHeading,
    PlacedLine,
    PlacedLink,
    PlacedPicture,
    PlacedRows,
    link_targets,
)
from worker.package.pages.signing_page import SIGNATURE_BOXES, draw_signing_page
from worker.package.pages.table_drawing import TableDrawing
from worker.package.pages.table_layout import TableLayout
from worker.package.pictures.picture import Area, Point, Stroke, Text

__all__ = ["DEMONSTRATION", "SIGNATURE_BOXES", "SIGNING_PAGE", "draw"]

DEMONSTRATION = "DEMONSTRATION - not for real use"

_BAND_BOTTOM, _BAND_TOP = 806.0, 824.0
_HEADER_Y, _HEADER_RULE_Y = 790.0, 783.5
_FOOTER_Y, _FOOTER_RULE_Y = 32.0, 43.0


def draw(view: PackageView, *, attachments: Mapping[str, Packed]) -> bytes:
    """Return the package as an unsigned PDF with its data attached."""
    metrics = FontMetrics()
    pages = place_sections(view.sections, metrics)
    canvas, count = Canvas(_about(view), metrics, targets=link_targets(pages)), PAGES_BEFORE + len(pages)
    _draw_page_frame(canvas, view, page=1, pages=count)
    draw_cover(canvas, view.cover)
    canvas.enter_in_outline(view.cover.title, key="certificate", y=PAGE_HEIGHT)
    canvas.end_page()
    _draw_page_frame(canvas, view, page=SIGNING_PAGE, pages=count)
    draw_signing_page(canvas, view.signing)
    canvas.enter_in_outline(view.signing.title, key="signing", y=PAGE_HEIGHT)
    canvas.end_page()
    tables: dict[TableLayout, TableDrawing] = {}
    for number, page in enumerate(pages, start=PAGES_BEFORE + 1):
        _draw_page_frame(canvas, view, page=number, pages=count)
        _draw_page(canvas, page, tables)
        canvas.end_page()
    return canvas.finish(attachments=attachments)


def _about(view: PackageView) -> DocumentInformation:
    title, author, subject, number = map(without_controls, (view.title, view.author, view.subject, view.number))
    return DocumentInformation(title=title, author=author, subject=subject, number=number, at=view.submitted_at)


def _draw_page_frame(canvas: Canvas, view: PackageView, *, page: int, pages: int) -> None:
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


def _draw_page(canvas: Canvas, page: Page, tables: dict[TableLayout, TableDrawing]) -> None:
    for placed in page:
        match placed:
            case PlacedLine():
                canvas.write(placed.style, [(placed.x, placed.y, placed.text)])
            case PlacedHeading():
                title = f"{placed.number}  {placed.title}"
                canvas.write(HEADING, [(LEFT, placed.y, title)])
                canvas.enter_in_outline(title, key=f"section-{placed.number}", y=placed.y + HEADING.leading_pt)
            case PlacedRows():
                if placed.layout not in tables:
                    tables[placed.layout] = TableDrawing(canvas, placed.layout)
                tables[placed.layout].draw(placed)
            case PlacedLink():
                canvas.link(placed.box, leads_to=placed.leads_to)
            case PlacedPicture():
                _draw_picture(canvas, placed)


def _draw_picture(canvas: Canvas, placed: PlacedPicture) -> None:
    """Draw a picture where it was placed."""
    for mark in placed.picture.marks:
        match mark:
            case Text():
                canvas.write(mark.style, [(LEFT + mark.x, placed.top - mark.y, mark.text)])
            case Area():
                canvas.area(_on_page(mark.points, placed.top), mark.colour)
            case Stroke():
                points = _on_page(mark.points, placed.top)
                canvas.stroke(points, width_pt=mark.width_pt, colour=mark.colour, is_dashed=mark.is_dashed)


def _on_page(points: tuple[Point, ...], top: float) -> list[Point]:
    return [(LEFT + x, top - y) for x, y in points]
