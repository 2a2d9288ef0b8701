"""Draw a package: the same view and attachments give the same bytes, on any machine."""

from collections.abc import Mapping

from worker.package.archive.document import DocumentInformation, Packed
from worker.package.data.declarations import SIGNING_PAGE
from worker.package.document_model import PackageView
from worker.package.fonts.font_metrics import FontMetrics, without_controls
from worker.package.fonts.text_style import HEADING, LEFT, PAGE_HEIGHT
from worker.package.pages.canvas import Canvas
from worker.package.pages.cover_page import draw_cover
from worker.package.pages.flow import place_sections
from worker.package.pages.page_frame import draw_page_frame
from worker.package.pages.placed import (
    PAGES_BEFORE,
    Page,
    PlacedHeading,
    PlacedLine,
    PlacedLink,
    PlacedPicture,
    PlacedRows,
    link_targets,
    section_key,
)
from worker.package.pages.signing_page import SIGNATURE_BOXES, draw_signing_page
from worker.package.pages.table_drawing import TableDrawing
from worker.package.pages.table_layout import TableLayout
from worker.package.pictures.picture import Area, Point, Stroke, Text

__all__ = ["SIGNATURE_BOXES", "SIGNING_PAGE", "draw"]


def draw(view: PackageView, *, attachments: Mapping[str, Packed]) -> bytes:
    """Return the package as an unsigned PDF with its data attached."""
    metrics = FontMetrics()
    pages = place_sections(view.sections, metrics)
    canvas, count = Canvas(_about(view), metrics, targets=link_targets(pages)), PAGES_BEFORE + len(pages)
    draw_page_frame(canvas, view, page=1, pages=count)
    draw_cover(canvas, view.cover)
    canvas.enter_in_outline(view.cover.title, key="certificate", y=PAGE_HEIGHT)
    canvas.end_page()
    draw_page_frame(canvas, view, page=SIGNING_PAGE, pages=count)
    draw_signing_page(canvas, view.signing)
    canvas.enter_in_outline(view.signing.title, key="signing", y=PAGE_HEIGHT)
    canvas.end_page()
    tables: dict[TableLayout, TableDrawing] = {}
    for number, page in enumerate(pages, start=PAGES_BEFORE + 1):
        draw_page_frame(canvas, view, page=number, pages=count)
        _draw_page(canvas, page, tables)
        canvas.end_page()
    return canvas.finish(attachments=attachments)


def _about(view: PackageView) -> DocumentInformation:
    title, author, subject, number = map(without_controls, (view.title, view.author, view.subject, view.number))
    return DocumentInformation(title=title, author=author, subject=subject, number=number, at=view.submitted_at)


def _draw_page(canvas: Canvas, page: Page, tables: dict[TableLayout, TableDrawing]) -> None:
    for placed in page:
        match placed:
            case PlacedLine():
                canvas.write(placed.style, [(placed.x, placed.y, placed.text)])
            case PlacedHeading():
                title = f"{placed.number}  {placed.title}"
                canvas.write(HEADING, [(LEFT, placed.y, title)])
                canvas.enter_in_outline(title, key=section_key(placed.number), y=placed.y + HEADING.leading_pt)
            case PlacedRows():
                if placed.layout not in tables:
                    tables[placed.layout] = TableDrawing(canvas, placed.layout)
                tables[placed.layout].draw(placed)
            case PlacedLink():
                canvas.link(placed.box, leads_to=placed.leads_to)
            case PlacedPicture():
                draw_picture(canvas, placed)


def draw_picture(canvas: Canvas, placed: PlacedPicture) -> None:
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
