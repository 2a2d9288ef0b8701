"""Draw rows of a table under their headings."""

from collections.abc import Iterator, Sequence

from service.vocabulary.words import Outcome
from worker.package.flow import PlacedRows
from worker.package.look import ACCENT, CELL, CELL_HEADING, CELL_UNIT, HAIR, LEFT, OUTCOME_STYLES, QUIET, RIGHT, marked
from worker.package.pen import Pen
from worker.package.pieces import Kind
from worker.package.table_layout import ROW_PADDING_PT, ColumnLayout, TableLayout

# A cell's lines, each with the height of its baseline.
Lines = Sequence[tuple[float, str]]

# From the top of a row to its first baseline.
_DROP_PT = ROW_PADDING_PT / 2 + CELL.size_pt


def draw_rows(pen: Pen, placed: PlacedRows) -> None:
    """Draw the headings, the rows and the thin rules between them."""
    layout, rows_top = placed.layout, placed.top - placed.layout.heading_height_pt
    _draw_headings(pen, layout, rows_top=rows_top)
    tops = list(_row_tops(placed, rows_top))
    pen.rules([rows_top], left=LEFT, right=RIGHT, width_pt=0.9, colour=ACCENT)
    _draw_row_rules(pen, placed, tops)
    for index, column in enumerate(layout.columns):
        _draw_column(pen, column, list(_cell_lines(placed, index, tops)))


def _draw_headings(pen: Pen, layout: TableLayout, *, rows_top: float) -> None:
    foot, leading_pt = rows_top + 4.4, CELL_HEADING.leading_pt
    above = foot + leading_pt * layout.has_units
    for column in layout.columns:
        is_number = column.kind is Kind.NUMBER
        x, write = (column.right_pt, pen.write_right) if is_number else (column.left_pt, pen.write)
        if column.unit is not None:
            write(CELL_UNIT, [(x, foot, column.unit)])
        lines = enumerate(reversed(column.heading))
        write(CELL_HEADING, [(x, above + index * leading_pt, line) for index, line in lines])


def _row_tops(placed: PlacedRows, rows_top: float) -> Iterator[float]:
    yield rows_top
    for row in range(placed.first, placed.end):
        rows_top -= placed.layout.row_height_pt(row)
        yield rows_top


def _draw_row_rules(pen: Pen, placed: PlacedRows, tops: Sequence[float]) -> None:
    rows = placed.layout.table.rows
    parted = {placed.end - placed.first}
    if placed.layout.table.is_grouped:
        parted |= {
            row - placed.first for row in range(placed.first + 1, placed.end) if rows[row][0] != rows[row - 1][0]
        }
    pen.rules(
        [y for index, y in enumerate(tops) if index and index not in parted],
        left=LEFT,
        right=RIGHT,
        width_pt=0.3,
        colour=HAIR,
    )
    pen.rules([tops[index] for index in sorted(parted)], left=LEFT, right=RIGHT, width_pt=0.4, colour=QUIET)


def _cell_lines(placed: PlacedRows, column: int, tops: Sequence[float]) -> Iterator[tuple[float, str]]:
    rows, folded = placed.layout.table.rows, placed.layout.folded
    for row, top in zip(range(placed.first, placed.end), tops, strict=False):
        if row not in folded:
            yield top - _DROP_PT, rows[row][column]
            continue
        for index, line in enumerate(folded[row][column]):
            yield top - _DROP_PT - index * CELL.leading_pt, line


def _draw_column(pen: Pen, column: ColumnLayout, lines: Lines) -> None:
    match column.kind:
        case Kind.OUTCOME:
            _draw_outcomes(pen, column.left_pt, lines)
        case Kind.NUMBER:
            left_of = column.number_lefts_pt
            pen.write(CELL, [(left_of[text], y, text) for y, text in lines])
        case Kind.TEXT:
            pen.write(CELL, [(column.left_pt, y, text) for y, text in lines])


def _draw_outcomes(pen: Pen, left: float, lines: Lines) -> None:
    for outcome in sorted({Outcome(text) for _, text in lines}):
        texts = [(left, y, marked(outcome)) for y, text in lines if text == outcome]
        pen.write(OUTCOME_STYLES[outcome], texts)
