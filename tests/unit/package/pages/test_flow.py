"""Where pages break: a heading keeps what it heads, a table keeps two rows together, no page is empty."""

from collections.abc import Sequence

import pytest

from worker.package.document_model import Block, Column, Kind, Paragraph, Section, Subheading, Table, listing
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import BOTTOM, SUBHEADING, TOP
from worker.package.pages.flow import place_sections
from worker.package.pages.placed import Page, PlacedHeading, PlacedLine, PlacedPicture, PlacedRows
from worker.package.pictures.picture import Picture

COLUMNS = (Column(heading="Fibre", share=30, kind=Kind.NUMBER), Column(heading="Reason", share=300))
NOTE_TEXT = "One line of a note."


@pytest.mark.parametrize("taller_lines", range(8))
def test_a_heading_never_stands_alone_at_the_foot_of_a_page(taller_lines: int) -> None:
    blocks: tuple[Block, ...] = (Subheading(text="Sites"), _table(rows=3), Subheading(text="Cable"), _table(rows=3))
    for page in _pages_at_each_height(taller_lines, Section(title="Next", blocks=blocks)):
        lowest = page[-1]
        assert not isinstance(lowest, PlacedHeading)
        assert not (isinstance(lowest, PlacedLine) and lowest.style is SUBHEADING)


@pytest.mark.parametrize("taller_lines", range(8))
def test_a_note_stays_with_the_table_that_it_is_about(taller_lines: int) -> None:
    for page in _pages_at_each_height(taller_lines, listing(title="Next", blocks=[_table(rows=3)], note=NOTE_TEXT)):
        lowest = page[-1]
        assert not (isinstance(lowest, PlacedLine) and lowest.text == NOTE_TEXT)


@pytest.mark.parametrize("taller_lines", range(8))
def test_a_note_stays_with_the_subheading_under_it(taller_lines: int) -> None:
    note = Paragraph(text=NOTE_TEXT, is_note=True)
    section = Section(title="Next", blocks=(note, Subheading(text="Sites"), _table(rows=3)))
    for page in _pages_at_each_height(taller_lines, section):
        lowest = page[-1]
        assert not (isinstance(lowest, PlacedLine) and lowest.text in {NOTE_TEXT, "Sites"})


@pytest.mark.parametrize("taller_lines", range(8))
def test_a_picture_stays_whole_above_the_foot_and_with_its_note(taller_lines: int) -> None:
    note, picture = Paragraph(text=NOTE_TEXT, is_note=True), Picture(height_pt=150.0, marks=())
    section = Section(title="Next", blocks=(note, picture, picture))
    pages = _pages_at_each_height(taller_lines, section)
    placed = [one for page in pages for one in page if isinstance(one, PlacedPicture)]
    assert placed
    assert all(BOTTOM <= one.top - one.picture.height_pt < one.top <= TOP for one in placed)
    for page in pages:
        lowest = page[-1]
        assert not (isinstance(lowest, PlacedLine) and lowest.text == NOTE_TEXT)


@pytest.mark.parametrize("taller_lines", range(8))
def test_a_table_shows_two_rows_or_more_wherever_it_starts_and_ends(taller_lines: int) -> None:
    parts = _rows_placed(_pages_at_each_height(taller_lines, listing(title="Next", blocks=[_table(rows=5)])))
    assert all(part.end - part.first >= 2 for part in parts)


@pytest.mark.parametrize("rows", range(110, 150))
def test_each_row_is_placed_once_above_the_foot_and_never_alone(rows: int) -> None:
    parts = _rows_placed(_place((), listing(title="Next", blocks=[_table(rows=rows)])))
    assert [row for part in parts for row in range(part.first, part.end)] == list(range(rows))
    for part in parts:
        height_pt = sum(map(part.layout.row_height_pt, range(part.first, part.end)))
        assert part.top - part.layout.heading_height_pt - height_pt >= BOTTOM - 1e-6
        assert part.end - part.first >= 2


def test_rows_that_fill_a_page_each_leave_no_empty_page() -> None:
    tall = Table(columns=COLUMNS, rows=tuple((str(n), "pit " * 4000) for n in range(4)))
    pages = _place((), listing(title="Next", blocks=[tall]))
    assert all(pages)
    assert [part.end - part.first for part in _rows_placed(pages)] == [1, 1, 1, 1]


def _pages_at_each_height(taller_lines: int, section: Section) -> list[Page]:
    """Return the pages of the section behind so many lines as end at every height of the second page's lower half."""
    befores = [[*[True] * (lines - taller_lines), *[False] * taller_lines] for lines in range(60, 82)]
    return [page for before in befores for page in _place(before, section)]


def _place(before: Sequence[bool], section: Section) -> list[Page]:
    # The contents are added to the first page last, so the foot that is looked at is that of the second.
    filler = tuple(Paragraph(text="A line.", is_note=is_note) for is_note in before)
    return place_sections([Section(title="First", blocks=filler), section], FontMetrics())


def _rows_placed(pages: list[Page]) -> list[PlacedRows]:
    return [placed for page in pages for placed in page if isinstance(placed, PlacedRows)]


def _table(*, rows: int) -> Table:
    return Table(columns=COLUMNS, rows=tuple((str(row), "over the limit") for row in range(rows)))
