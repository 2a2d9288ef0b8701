"""Draw the first page."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

from worker.package.document_model import Cover, Facts, Kind, Table
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import (
    ACCENT,
    BODY,
    BOTTOM,
    CELL,
    CODE,
    CONTENT_WIDTH,
    INK,
    LABEL,
    LEFT,
    NOTE,
    NUMBER,
    RIGHT,
    SUBHEADING,
    TITLE,
    VALUE,
    Style,
)
from worker.package.pages.canvas import Canvas
from worker.package.pages.placed import LABEL_WIDTH_PT, Box, PlacedRows
from worker.package.pages.table_drawing import TableDrawing
from worker.package.pages.table_layout import TableLayout, column_widths, lay_out_table

_TITLE_Y, _NUMBER_Y, _RULE_Y, _STATEMENT_Y = 733.0, 709.0, 696.0, 676.0
_FACTS_Y, _BETWEEN_PARTS_PT = 645.0, 19.0
_STATEMENT_LINES, _CODE_LINES = 2, 4
_BELOW_HEADING_PT = 16.0
# Names may be long; nothing that is declared is cut.
_DECLARED_STYLES = (
    VALUE,
    replace(VALUE, size_pt=7.4, leading_pt=10.0),
    replace(VALUE, size_pt=6.6, leading_pt=8.6),
    replace(VALUE, size_pt=5.8, leading_pt=7.2),
)
_BETWEEN_DECLARED_PT = 3.0
_QR_SIDE_PT, _QR_TOP = 92.0, 756.0
_BESIDE_QR_PT = CONTENT_WIDTH - _QR_SIDE_PT - 28
# A line below this has the whole width: the code and what is written under it end above.
_BELOW_QR_Y = 606.0


def draw_cover(canvas: Canvas, cover: Cover) -> None:
    """Draw everything between the header and the footer of the first page."""
    _draw_title(canvas, cover)
    _draw_code(canvas, cover)
    below = _draw_facts(canvas, cover.facts, top=_FACTS_Y)
    below = _draw_segments(canvas, cover, top=below - _BETWEEN_PARTS_PT - 4)
    top = _draw_heading(canvas, "What to weigh before deciding", top=below - _BETWEEN_PARTS_PT)
    below = _draw_facts(canvas, cover.summary, top=top)
    top = _draw_heading(canvas, "What it stands on, by SHA-256", top=below - _BETWEEN_PARTS_PT)
    below = _draw_facts(canvas, cover.digests, top=top)
    top = _draw_heading(canvas, "What is declared, by whom, when and for whom", top=below - _BETWEEN_PARTS_PT)
    _draw_declared(canvas, cover.declared, top=top)


def _draw_title(canvas: Canvas, cover: Cover) -> None:
    canvas.write(TITLE, [(LEFT, _TITLE_Y, cover.title)])
    number = canvas.metrics.shorten(cover.number, NUMBER, width_pt=_BESIDE_QR_PT / 2)
    after = LEFT + canvas.metrics.width(number, NUMBER) + 10
    route = canvas.metrics.shorten(cover.route, BODY, width_pt=LEFT + _BESIDE_QR_PT - after)
    canvas.write(NUMBER, [(LEFT, _NUMBER_Y, number)])
    canvas.write(BODY, [(after, _NUMBER_Y, route)])
    canvas.rules([_RULE_Y], left=LEFT, right=LEFT + _BESIDE_QR_PT, width_pt=1.6, colour=ACCENT)
    lines = canvas.metrics.fold_at_most(cover.statement, BODY, width_pt=_BESIDE_QR_PT, lines=_STATEMENT_LINES)
    canvas.write_lines(BODY, lines, left=LEFT, top=_STATEMENT_Y)


def _draw_code(canvas: Canvas, cover: Cover) -> None:
    left, code = RIGHT - _QR_SIDE_PT, cover.verification_code
    # A camera opens an address; without one the symbol spares the typing.
    canvas.fill(qr_boxes(cover.verification_url or code, left=left, top=_QR_TOP, side_pt=_QR_SIDE_PT), INK)
    below = _QR_TOP - _QR_SIDE_PT - 12
    canvas.write(LABEL, [(left, below, "Verification code")])
    lines = canvas.metrics.fold_at_most(code, CODE, width_pt=_QR_SIDE_PT, lines=_CODE_LINES)
    canvas.write_lines(CODE, lines, left=left, top=below - 11)


def _draw_heading(canvas: Canvas, text: str, *, top: float) -> float:
    """Write a heading, and return where the line under it stands."""
    canvas.write(SUBHEADING, [(LEFT, top, text)])
    return top - _BELOW_HEADING_PT


def _draw_facts(canvas: Canvas, facts: Facts, *, top: float) -> float:
    """Write one line for each fact, and return where the last one stands."""
    for index, fact in enumerate(facts.facts):
        y = top - index * VALUE.leading_pt
        width_pt = CONTENT_WIDTH if y < _BELOW_QR_Y else _BESIDE_QR_PT
        value = canvas.metrics.shorten(fact.value, fact.style, width_pt=width_pt - LABEL_WIDTH_PT)
        canvas.write(LABEL, [(LEFT, y, fact.label)])
        canvas.write(fact.style, [(LEFT + LABEL_WIDTH_PT, y, value)])
    return top - (len(facts.facts) - 1) * VALUE.leading_pt


def _draw_segments(canvas: Canvas, cover: Cover, *, top: float) -> float:
    """Draw the table of segments with its note, and return where they end."""
    canvas.write(SUBHEADING, [(LEFT, top, "What is submitted, with counts of required findings")])
    layout = _one_line_layout(cover.segments, canvas.metrics)
    rows = PlacedRows(top=top - 10, layout=layout, first=0, end=len(layout.table.rows))
    TableDrawing(canvas, layout).draw(rows)
    if cover.segments_note is None:
        return rows.row_tops[-1]
    below = rows.row_tops[-1] - NOTE.leading_pt
    canvas.write(NOTE, [(LEFT, below, cover.segments_note)])
    return below


def _one_line_layout(table: Table, metrics: FontMetrics) -> TableLayout:
    # Folded names would reach into what stands below; the section on segments has them whole.
    columns = list(zip(table.columns, column_widths(table.columns, metrics), strict=True))
    rows = [
        tuple(
            text if column.kind is Kind.OUTCOME else metrics.shorten(text, CELL, width_pt=width_pt)
            for text, (column, width_pt) in zip(row, columns, strict=True)
        )
        for row in table.rows
    ]
    return lay_out_table(replace(table, rows=rows), metrics)


def _draw_declared(canvas: Canvas, declared: Facts, *, top: float) -> None:
    style, folded = _declared_style(canvas.metrics, declared, room_pt=top + VALUE.leading_pt - BOTTOM)
    for fact, lines in zip(declared.facts, folded, strict=True):
        canvas.write(LABEL, [(LEFT, top, fact.label)])
        canvas.write_lines(style, lines, left=LEFT + LABEL_WIDTH_PT, top=top)
        top -= len(lines) * style.leading_pt + _BETWEEN_DECLARED_PT


def _declared_style(
    metrics: FontMetrics, declared: Facts, *, room_pt: float
) -> tuple[Style, Sequence[tuple[str, ...]]]:
    """Return the largest style in which all that is declared finds room, and its lines."""
    for style in _DECLARED_STYLES:
        folded = [metrics.fold(fact.value, style, width_pt=CONTENT_WIDTH - LABEL_WIDTH_PT) for fact in declared.facts]
        between_pt = _BETWEEN_DECLARED_PT * (len(folded) - 1)
        if sum(map(len, folded)) * style.leading_pt + between_pt <= room_pt:
            break
    return style, folded


def qr_boxes(text: str, *, left: float, top: float, side_pt: float) -> Iterator[Box]:
    """Return the dark boxes of the symbol, one for each run of dark modules in a line."""
    symbol = QRCode(None, QRErrorCorrectLevel.M)
    symbol.addData(text)
    symbol.make()
    module_pt = side_pt / symbol.getModuleCount()
    for line, modules in enumerate(symbol.modules):
        bottom, first = top - (line + 1) * module_pt, 0
        for is_dark, run in groupby(modules):
            end = first + len(list(run))
            if is_dark:
                yield left + first * module_pt, bottom, left + end * module_pt, bottom + module_pt
            first = end
