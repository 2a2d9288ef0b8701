"""Draw the first page."""

from collections.abc import Sequence
from dataclasses import replace

from worker.package.flow import LABEL_WIDTH_PT, PlacedRows, style_of
from worker.package.look import (
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
from worker.package.pen import Pen
from worker.package.pieces import Certificate, Column, Facts, Kind, Table
from worker.package.qr_code import qr_boxes
from worker.package.ruler import Ruler
from worker.package.table_drawing import TableDrawing
from worker.package.table_layout import TableLayout, column_widths, lay_out_table

_TITLE_Y, _NUMBER_Y, _RULE_Y, _STATEMENT_Y = 733.0, 709.0, 696.0, 676.0
_FACTS_Y, _BETWEEN_PARTS_PT = 645.0, 19.0
_STATEMENT_LINES = 2
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


def draw_certificate(pen: Pen, certificate: Certificate) -> None:
    """Draw everything between the header and the footer of the first page."""
    _draw_title(pen, certificate)
    _draw_code(pen, certificate)
    _draw_facts(pen, certificate.facts, top=_FACTS_Y)
    below = _FACTS_Y - (len(certificate.facts.facts) - 1) * VALUE.leading_pt
    below = _draw_segments(pen, certificate, top=below - _BETWEEN_PARTS_PT - 4)
    below = _draw_weighed(pen, certificate.weighed, top=below - _BETWEEN_PARTS_PT)
    below = _draw_digests(pen, certificate.digests, top=below - _BETWEEN_PARTS_PT)
    _draw_declared(pen, certificate.declared, top=below - _BETWEEN_PARTS_PT)


def _draw_title(pen: Pen, certificate: Certificate) -> None:
    pen.write(TITLE, [(LEFT, _TITLE_Y, certificate.title)])
    number = pen.ruler.shorten(certificate.number, NUMBER, width_pt=_BESIDE_QR_PT / 2)
    after = LEFT + pen.ruler.width(number, NUMBER) + 10
    route = pen.ruler.shorten(certificate.route, BODY, width_pt=LEFT + _BESIDE_QR_PT - after)
    pen.write(NUMBER, [(LEFT, _NUMBER_Y, number)])
    pen.write(BODY, [(after, _NUMBER_Y, route)])
    pen.rules([_RULE_Y], left=LEFT, right=LEFT + _BESIDE_QR_PT, width_pt=1.6, colour=ACCENT)
    lines = pen.ruler.fold(certificate.statement, BODY, width_pt=_BESIDE_QR_PT)
    _write_lines(pen, BODY, _at_most(lines, _STATEMENT_LINES), top=_STATEMENT_Y)


def _draw_code(pen: Pen, certificate: Certificate) -> None:
    left, code = RIGHT - _QR_SIDE_PT, certificate.verification_code
    # A camera opens an address; without one the symbol spares the typing.
    pen.fill(qr_boxes(certificate.verification_url or code, left=left, top=_QR_TOP, side_pt=_QR_SIDE_PT), INK)
    below = _QR_TOP - _QR_SIDE_PT - 12
    pen.write(LABEL, [(left, below, "Verification code")])
    lines = _at_most(pen.ruler.fold(code, CODE, width_pt=_QR_SIDE_PT), 4)
    _write_lines(pen, CODE, lines, top=below - 11, left=left)


def _draw_facts(pen: Pen, facts: Facts, *, top: float) -> None:
    for index, fact in enumerate(facts.facts):
        y = top - index * VALUE.leading_pt
        style, width_pt = style_of(fact), CONTENT_WIDTH if y < _BELOW_QR_Y else _BESIDE_QR_PT
        value = pen.ruler.shorten(fact.value, style, width_pt=width_pt - LABEL_WIDTH_PT)
        pen.write(LABEL, [(LEFT, y, fact.label)])
        pen.write(style, [(LEFT + LABEL_WIDTH_PT, y, value)])


def _draw_segments(pen: Pen, certificate: Certificate, *, top: float) -> float:
    pen.write(SUBHEADING, [(LEFT, top, "What is submitted, with counts of required findings")])
    layout = _one_line_layout(certificate.segments, pen.ruler)
    count = len(layout.table.rows)
    TableDrawing(pen, layout).draw(PlacedRows(top=top - 10, layout=layout, first=0, end=count))
    below = top - 10 - layout.heading_height_pt - sum(map(layout.row_height_pt, range(count)))
    if certificate.segments_note is not None:
        below -= NOTE.leading_pt
        pen.write(NOTE, [(LEFT, below, certificate.segments_note)])
    return below


def _draw_weighed(pen: Pen, weighed: Facts, *, top: float) -> float:
    pen.write(SUBHEADING, [(LEFT, top, "What to weigh before deciding")])
    _draw_facts(pen, weighed, top=top - 16)
    return top - 16 - (len(weighed.facts) - 1) * VALUE.leading_pt


def _draw_digests(pen: Pen, digests: Facts, *, top: float) -> float:
    pen.write(SUBHEADING, [(LEFT, top, "What it stands on, by SHA-256")])
    _draw_facts(pen, digests, top=top - 16)
    return top - 16 - (len(digests.facts) - 1) * VALUE.leading_pt


def _one_line_layout(table: Table, ruler: Ruler) -> TableLayout:
    # Folded names would reach into what stands below; the section on segments has them whole.
    widths_pt = column_widths(table.columns, ruler)
    rows = [_shorten_row(row, table.columns, widths_pt, ruler) for row in table.rows]
    return lay_out_table(replace(table, rows=rows), ruler)


def _shorten_row(
    row: Sequence[str], columns: Sequence[Column], widths_pt: Sequence[float], ruler: Ruler
) -> tuple[str, ...]:
    return tuple(
        text if column.kind is Kind.OUTCOME else ruler.shorten(text, CELL, width_pt=width_pt)
        for text, column, width_pt in zip(row, columns, widths_pt, strict=True)
    )


def _draw_declared(pen: Pen, declared: Facts, *, top: float) -> None:
    pen.write(SUBHEADING, [(LEFT, top, "What is declared, by whom, when and for whom")])
    top -= 16
    style, folded = _declared_style(pen.ruler, declared, room_pt=top + VALUE.leading_pt - BOTTOM)
    for fact, lines in zip(declared.facts, folded, strict=True):
        pen.write(LABEL, [(LEFT, top, fact.label)])
        _write_lines(pen, style, lines, top=top, left=LEFT + LABEL_WIDTH_PT)
        top -= len(lines) * style.leading_pt + _BETWEEN_DECLARED_PT


def _declared_style(ruler: Ruler, declared: Facts, *, room_pt: float) -> tuple[Style, Sequence[tuple[str, ...]]]:
    """Return the largest style in which all that is declared finds room, and its lines."""
    for style in _DECLARED_STYLES:
        width_pt = CONTENT_WIDTH - LABEL_WIDTH_PT
        folded = [ruler.fold(fact.value, style, width_pt=width_pt) for fact in declared.facts]
        between_pt = _BETWEEN_DECLARED_PT * (len(folded) - 1)
        if sum(map(len, folded)) * style.leading_pt + between_pt <= room_pt:
            break
    return style, folded


def _write_lines(pen: Pen, style: Style, lines: tuple[str, ...], *, top: float, left: float = LEFT) -> None:
    pen.write(style, [(left, top - index * style.leading_pt, line) for index, line in enumerate(lines)])


def _at_most(lines: tuple[str, ...], count: int) -> tuple[str, ...]:
    return lines if len(lines) <= count else (*lines[: count - 1], lines[count - 1] + "…")
