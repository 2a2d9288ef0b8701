"""Draw rows of a table under their headings."""

from collections.abc import Callable, Iterator, Sequence

from service.vocabulary.words import Outcome
from worker.package.flow import PlacedRows
from worker.package.look import (
    ACCENT,
    CELL,
    CELL_HEADING,
    CELL_UNIT,
    HAIR,
    LEFT,
    OUTCOME_STYLES,
    QUIET,
    RIGHT,
    Style,
    marked,
)
from worker.package.pen import Pen
from worker.package.pieces import Kind
from worker.package.table_layout import ROW_PADDING_PT, ColumnLayout, TableLayout

# A line of a cell, with its style and the left end of its baseline.
Cell = tuple[Style, float, float, str]
Setter = Callable[[str, float], Cell]

# From the top of a row to its first baseline.
_DROP_PT = ROW_PADDING_PT / 2 + CELL.size_pt


def draw_rows(pen: Pen, placed: PlacedRows) -> None:
    """Draw the headings, the rows and the thin rules between them."""
    layout, rows_top = placed.layout, placed.top - placed.layout.heading_height_pt
    _draw_headings(pen, layout, rows_top=rows_top)
    tops = list(_row_tops(placed, rows_top))
    pen.rules([rows_top], left=LEFT, right=RIGHT, width_pt=0.9, colour=ACCENT)
    _draw_row_rules(pen, placed, tops)
    pen.write_styled(_cells(placed, tops))


def _draw_headings(pen: Pen, layout: TableLayout, *, rows_top: float) -> None:
    foot, leading_pt = rows_top + 4.4, CELL_HEADING.leading_pt
    above = foot + leading_pt * layout.has_units
    for column in layout.columns:
        is_number = column.kind is Kind.NUMBER
        x, write = (column.right_pt, pen.write_right) if is_number else (column.left_pt, pen.write)
        lines = enumerate(column.heading)
        top = above + (len(column.heading) - 1) * leading_pt
        write(CELL_HEADING, [(x, top - index * leading_pt, line) for index, line in lines])
        if column.unit is not None:
            write(CELL_UNIT, [(x, foot, column.unit)])


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


def _cells(placed: PlacedRows, tops: Sequence[float]) -> Iterator[Cell]:
    """Return the cells row by row, so that the text of a page reads in the order in which it is seen."""
    rows, folded, columns = placed.layout.table.rows, placed.layout.folded, placed.layout.columns
    setters = [_SETTERS[column.kind](column) for column in columns]
    for row, top in zip(range(placed.first, placed.end), tops, strict=False):
        y = top - _DROP_PT
        if row not in folded:
            for text, set_text in zip(rows[row], setters, strict=True):
                yield set_text(text, y)
            continue
        for lines, set_text in zip(folded[row], setters, strict=True):
            for index, line in enumerate(lines):
                yield set_text(line, y - index * CELL.leading_pt)


def _text_setter(column: ColumnLayout) -> Setter:
    left = column.left_pt
    return lambda text, y: (CELL, left, y, text)


def _number_setter(column: ColumnLayout) -> Setter:
    lefts = column.number_lefts_pt
    return lambda text, y: (CELL, lefts[text], y, text)


def _outcome_setter(column: ColumnLayout) -> Setter:
    left = column.left_pt
    marks = {outcome.value: (OUTCOME_STYLES[outcome], marked(outcome)) for outcome in Outcome}

    def set_outcome(text: str, y: float) -> Cell:
        style, mark = marks[text]
        return style, left, y, mark

    return set_outcome


_SETTERS = {Kind.TEXT: _text_setter, Kind.NUMBER: _number_setter, Kind.OUTCOME: _outcome_setter}
