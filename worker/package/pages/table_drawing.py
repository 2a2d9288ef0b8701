"""Draw rows of a table under their headings.

A joint table has the same few thousand texts 700,000 times over. So each cell is written once, from the left end of its
row, as operators that lead back there; a row is then a join of strings, five times faster than writing text by text.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import compress, groupby, pairwise
from operator import getitem
from typing import Literal

from service.vocabulary.findings.words import Outcome
from worker.package.document_model import Kind, Role
from worker.package.fonts.text_style import (
    ACCENT,
    CELL,
    CELL_HEADING,
    CELL_UNIT,
    HAIR,
    LEFT,
    OUTCOME_STYLES,
    QUIET,
    RIGHT,
    marked,
)
from worker.package.pages.canvas import Canvas
from worker.package.pages.placed import PlacedRows
from worker.package.pages.table_layout import ROW_PADDING_PT, ColumnLayout, TableLayout

# The columns whose numbers lead elsewhere, and to what.
_LEADING: Mapping[Role | None, Literal["page", "fibre"]] = {Role.PAGE: "page", Role.FIBRE_LINK: "fibre"}
# From the top of a row to its first baseline.
_DROP_PT = ROW_PADDING_PT / 2 + CELL.size_pt


class TableDrawing:
    """Draws one table, page by page, and remembers the cells it wrote."""

    def __init__(self, canvas: Canvas, layout: TableLayout) -> None:
        self._canvas = canvas
        self._layout = layout
        self._cells = [_Cells(canvas, column) for column in layout.columns]

    def draw(self, placed: PlacedRows) -> None:
        """Draw the headings, the rows and the thin rules between them."""
        tops = placed.row_tops
        _draw_headings(self._canvas, self._layout, rows_top=tops[0])
        self._canvas.rules(tops[:1], left=LEFT, right=RIGHT, width_pt=0.9, colour=ACCENT)
        _draw_row_rules(self._canvas, placed, tops)
        self._canvas.write_operators(CELL, self._rows(placed, tops))
        for index, column in enumerate(self._layout.columns):
            if column.role in _LEADING:
                self._lead(placed.texts(index), tops, column, to=_LEADING[column.role])

    def _lead(
        self, texts: Sequence[str], tops: Sequence[float], column: ColumnLayout, *, to: Literal["page", "fibre"]
    ) -> None:
        """Let the numbers of a column lead where they say, those alike below each other as one."""
        first = 0
        for text, alike in groupby(texts):
            end = first + len(list(alike))
            if text.isdigit():
                self._canvas.link((column.left_pt, tops[end], column.right_pt, tops[first]), leads_to=(to, text))
            first = end

    def _rows(self, placed: PlacedRows, tops: Sequence[float]) -> Iterator[str]:
        """Give the cells row by row, so that the text of a page reads in the order in which it is seen."""
        rows, folded = self._layout.table.rows, self._layout.folded
        for row, top in zip(range(placed.first, placed.end), tops, strict=False):
            y = top - _DROP_PT
            if row not in folded:
                yield "\n".join((_at(y), *map(getitem, self._cells, rows[row])))
                continue
            for lines, cells in zip(folded[row], self._cells, strict=True):
                for index, line in enumerate(lines):
                    yield _at(y - index * CELL.leading_pt)
                    yield cells[line]


class _Cells(dict[str, str]):
    """The operators of each text of a column, which start and end at the left end of the row."""

    def __init__(self, canvas: Canvas, column: ColumnLayout) -> None:
        super().__init__()
        self._canvas = canvas
        self._column = column

    def __missing__(self, text: str) -> str:
        column, style, shown = self._column, CELL, text
        if column.kind is Kind.OUTCOME:
            style, shown = OUTCOME_STYLES[Outcome(text)], marked(Outcome(text))
        left = column.number_lefts_pt[text] if column.kind is Kind.NUMBER else column.left_pt
        show = self._canvas.operators(style, shown, within=CELL)
        operators = self[text] = f"{left:.2f} 0 Td {show} {-left:.2f} 0 Td"
        return operators


def _at(y: float) -> str:
    return f"1 0 0 1 0 {y:.2f} Tm"


def _draw_headings(canvas: Canvas, layout: TableLayout, *, rows_top: float) -> None:
    foot, leading_pt = rows_top + 4.4, CELL_HEADING.leading_pt
    above = foot + leading_pt * layout.has_units
    for column in layout.columns:
        is_number = column.kind is Kind.NUMBER
        x, write = (column.right_pt, canvas.write_right) if is_number else (column.left_pt, canvas.write)
        top = above + (len(column.heading) - 1) * leading_pt
        write(CELL_HEADING, [(x, top - index * leading_pt, line) for index, line in enumerate(column.heading)])
        if column.unit is not None:
            write(CELL_UNIT, [(x, foot, column.unit)])


def _draw_row_rules(canvas: Canvas, placed: PlacedRows, tops: Sequence[float]) -> None:
    """Draw a thin rule between rows, and a darker one after each group and after the last row."""
    *between, foot = tops[1:]
    is_parting = [False] * len(between)
    if placed.layout.table.is_grouped:
        is_parting = [one != other for one, other in pairwise(placed.texts(0))]
    within = [y for y, parts in zip(between, is_parting, strict=True) if not parts]
    parting = [*compress(between, is_parting), foot]
    canvas.rules(within, left=LEFT, right=RIGHT, width_pt=0.3, colour=HAIR)
    canvas.rules(parting, left=LEFT, right=RIGHT, width_pt=0.4, colour=QUIET)
