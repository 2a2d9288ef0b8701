"""Draw a package: the same view and attachments give the same bytes, on any machine."""

from collections.abc import Mapping
from io import BytesIO

from worker.package.archive_document import Packed, add_archive_parts, document_of, new_canvas
from worker.package.certificate_page import draw_certificate
from worker.package.declarations import SIGNING_PAGE
from worker.package.flow import (
    PAGES_BEFORE,
    Page,
    PlacedHeading,
    PlacedLine,
    PlacedLink,
    PlacedPicture,
    PlacedRows,
    place_sections,
)
from worker.package.link_keys import section_key
from worker.package.link_targets import link_targets
from worker.package.look import HEADING, LEFT, PAGE_HEIGHT
from worker.package.pen import Pen
from worker.package.picture_drawing import draw_picture
from worker.package.pieces import PackageView
from worker.package.ruler import Ruler
from worker.package.sheet import draw_frame
from worker.package.signing_page import SIGNATURE_BOXES, draw_signing_page
from worker.package.table_drawing import TableDrawing
from worker.package.table_layout import TableLayout

__all__ = ["SIGNATURE_BOXES", "SIGNING_PAGE", "draw"]


def draw(view: PackageView, *, attachments: Mapping[str, Packed]) -> bytes:
    """Return the package as an unsigned PDF with its data attached."""
    target, ruler = BytesIO(), Ruler()
    canvas = new_canvas(target, view)
    pages = place_sections(view.sections, ruler)
    pen = Pen(canvas, document_of(canvas), ruler, targets=link_targets(pages))
    count = PAGES_BEFORE + len(pages)
    draw_frame(pen, view, page=1, pages=count)
    draw_certificate(pen, view.certificate)
    pen.enter_in_outline(view.certificate.title, key="certificate", y=PAGE_HEIGHT)
    canvas.showPage()
    draw_frame(pen, view, page=SIGNING_PAGE, pages=count)
    draw_signing_page(pen, view.signing)
    pen.enter_in_outline(view.signing.title, key="signing", y=PAGE_HEIGHT)
    canvas.showPage()
    tables: dict[TableLayout, TableDrawing] = {}
    for number, page in enumerate(pages, start=PAGES_BEFORE + 1):
        draw_frame(pen, view, page=number, pages=count)
        _draw_page(pen, page, tables)
        canvas.showPage()
    add_archive_parts(document_of(canvas), view, attachments=attachments)
    canvas.save()
    return target.getvalue()


def _draw_page(pen: Pen, page: Page, tables: dict[TableLayout, TableDrawing]) -> None:
    for placed in page:
        match placed:
            case PlacedLine():
                pen.write(placed.style, [(placed.x, placed.y, placed.text)])
            case PlacedHeading():
                title = f"{placed.number}  {placed.title}"
                pen.write(HEADING, [(LEFT, placed.y, title)])
                pen.enter_in_outline(title, key=section_key(placed.number), y=placed.y + HEADING.leading_pt)
            case PlacedRows():
                if placed.layout not in tables:
                    tables[placed.layout] = TableDrawing(pen, placed.layout)
                tables[placed.layout].draw(placed)
            case PlacedLink():
                pen.link(placed.box, leads_to=placed.leads_to)
            case PlacedPicture():
                draw_picture(pen, placed)
