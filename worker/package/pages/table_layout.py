"""Where the columns of a table stand and how high its rows are."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import NamedTuple

from service.vocabulary.findings.words import Outcome
from worker.package.document_model import Column, Kind, Role, Table
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import CELL, CELL_HEADING, CELL_UNIT, CONTENT_WIDTH, LEFT, OUTCOME_STYLES, marked

GUTTER_PT = 8.0
ROW_PADDING_PT = 2.6
HEADING_PADDING_PT = 4.0
# A cell with more lines than a page has would never find a place; the whole text is in the attached data.
MAX_CELL_LINES = 40

# The lines of each cell of a row.
FoldedRow = tuple[tuple[str, ...], ...]


class ColumnLayout(NamedTuple):
    """A column in its place; numbers have each their own left end, so that their decimal points stand in line."""

    kind: Kind
    role: Role | None
    left_pt: float
    right_pt: float
    heading: tuple[str, ...]
    unit: str | None
    number_lefts_pt: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class TableLayout:
    """A table with its columns placed; `folded` holds the rows that have a cell of more than one line."""

    table: Table
    columns: tuple[ColumnLayout, ...]
    folded: Mapping[int, FoldedRow]

    @property
    def has_units(self) -> bool:
        """Whether a line of units stands under the headings."""
        return any(column.unit is not None for column in self.columns)

    @property
    def heading_height_pt(self) -> float:
        """The height of the headings over the rows."""
        lines = max(len(column.heading) for column in self.columns) + self.has_units
        return lines * CELL_HEADING.leading_pt + HEADING_PADDING_PT

    def row_height_pt(self, row: int) -> float:
        """Return the height of a row."""
        lines = max(map(len, self.folded[row])) if row in self.folded else 1
        return lines * CELL.leading_pt + ROW_PADDING_PT


def lay_out_table(table: Table, metrics: FontMetrics) -> TableLayout:
    """Place the columns, and fold what is wider than its column."""
    widths_pt = column_widths(table.columns, metrics)
    texts = [set(map(itemgetter(index), table.rows)) for index in range(len(table.columns))]
    folded = _fold_rows(table, texts, widths_pt, metrics)
    columns, left_pt = [], LEFT
    for index, (column, width_pt) in enumerate(zip(table.columns, widths_pt, strict=True)):
        lines = texts[index].union(*(cells[index] for cells in folded.values()))
        columns.append(_lay_out_column(column, lines, metrics, left_pt=left_pt, width_pt=width_pt))
        left_pt += width_pt + GUTTER_PT
    return TableLayout(table=table, columns=tuple(columns), folded=folded)


def column_widths(columns: Sequence[Column], metrics: FontMetrics) -> tuple[float, ...]:
    """Share the width of the page out; a heading's words and the outcomes always find room."""
    room_pt = CONTENT_WIDTH - GUTTER_PT * (len(columns) - 1)
    least_pt = [_least_width(column, metrics) for column in columns]
    scale = room_pt / sum(column.share for column in columns)
    wished_pt = [max(column.share * scale, least) for column, least in zip(columns, least_pt, strict=True)]
    # What the narrow columns needed more is taken from what the others can spare.
    spare_pt = [wish - least for wish, least in zip(wished_pt, least_pt, strict=True)]
    excess = (sum(wished_pt) - room_pt) / (sum(spare_pt) or 1.0)
    return tuple(wish - excess * spare for wish, spare in zip(wished_pt, spare_pt, strict=True))


def _least_width(column: Column, metrics: FontMetrics) -> float:
    words_pt = [metrics.width(word, CELL_HEADING) for word in column.heading.split()]
    if column.kind is Kind.OUTCOME:
        words_pt += [metrics.width(marked(outcome), OUTCOME_STYLES[outcome]) for outcome in Outcome]
    # A hair more than it measures, so that sums in another order still leave it room.
    return max(words_pt) + 0.1


def _lay_out_column(
    column: Column, texts: Iterable[str], metrics: FontMetrics, *, left_pt: float, width_pt: float
) -> ColumnLayout:
    unit, right_pt = column.unit, left_pt + width_pt
    return ColumnLayout(
        kind=column.kind,
        role=column.role,
        left_pt=left_pt,
        right_pt=right_pt,
        heading=metrics.fold(column.heading, CELL_HEADING, width_pt=right_pt - left_pt),
        unit=None if unit is None else metrics.shorten(unit, CELL_UNIT, width_pt=right_pt - left_pt),
        number_lefts_pt=_align_points(texts, metrics, right_pt=right_pt) if column.kind is Kind.NUMBER else {},
    )


def _align_points(texts: Iterable[str], metrics: FontMetrics, *, right_pt: float) -> dict[str, float]:
    """Return the left end of each text: decimal points stand in line, words at the right."""
    fractions_pt = {text: metrics.width(_fraction_of(text), CELL) for text in texts}
    widest_pt = max(fractions_pt.values(), default=0.0)
    return {
        text: right_pt - metrics.width(text, CELL) - (widest_pt - fraction_pt if any(map(str.isdigit, text)) else 0.0)
        for text, fraction_pt in fractions_pt.items()
    }


def _fraction_of(text: str) -> str:
    return text[text.rfind(".") :] if "." in text else ""


def _fold_rows(
    table: Table, texts: Sequence[Iterable[str]], widths_pt: Sequence[float], metrics: FontMetrics
) -> dict[int, FoldedRow]:
    too_wide: set[int] = set()
    for index, (column, own, width_pt) in enumerate(zip(table.columns, texts, widths_pt, strict=True)):
        wide = {text for text in own if column.kind is not Kind.OUTCOME and metrics.width(text, CELL) > width_pt}
        if wide:
            too_wide.update(row for row, cells in enumerate(table.rows) if cells[index] in wide)
    return {row: _fold_row(table.rows[row], widths_pt, metrics) for row in sorted(too_wide)}


def _fold_row(cells: Sequence[str], widths_pt: Sequence[float], metrics: FontMetrics) -> FoldedRow:
    folded = (metrics.fold(text, CELL, width_pt=width_pt) for text, width_pt in zip(cells, widths_pt, strict=True))
    return tuple(lines if len(lines) <= MAX_CELL_LINES else (*lines[: MAX_CELL_LINES - 1], "…") for lines in folded)
