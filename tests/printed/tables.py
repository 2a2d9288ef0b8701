"""Read tables and pictures of a package back from its pages: by where another program finds which words, how large.

Nothing here knows how the pages were drawn. What is taken for granted is what a reader sees: headings stand over their
columns, more room lies between columns than between words, and between rows than between lines.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from tests.page_words import Word, words_by_page

# The sizes of type that mark what a line is, in points, and the part of a page that is neither header nor footer.
SECTION, SUBHEADING, HEADING, UNIT, CELL = 14.5, 8.8, 6.6, 6.4, 7.0
BODY = (60.0, 790.0)
# In these sections what stands under the heading is pictures: no line of theirs is a row.
PICTURED = frozenset({"The route to scale", "Splice losses against their limits", "Splice losses along the route"})
# Words of one cell stand closer than this, columns further apart; lines of a row closer than this, rows further apart.
WORD_GAP_PT, LINE_GAP_PT = 5.0, 10.0


@dataclass(kw_only=True)
class PrintedTable:
    """A table as printed, however many pages it runs over, with the page of each row."""

    section: str
    under: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    rows: list[list[str]] = field(default_factory=list)
    pages: list[int] = field(default_factory=list)
    columns: list[tuple[float, float]] = field(default_factory=list)

    def column(self, heading: str) -> int:
        return self.headings.index(heading)


class InPicture(NamedTuple):
    """Words of a picture that stand together, with the section and the title over them."""

    section: str
    title: str
    words: Word


@dataclass(kw_only=True)
class PrintedPages:
    """Every table in order of the pages, and all that is written in pictures, from the top of each page down."""

    tables: list[PrintedTable] = field(default_factory=list)
    pictures: list[InPicture] = field(default_factory=list)


def read_pages(pdf: bytes) -> PrintedPages:
    """Return what is printed in tables and in pictures."""
    reader = _Reader()
    for page in words_by_page(pdf):
        for line in _lines(word for word in page if BODY[0] < word.top < BODY[1]):
            reader.take(line)
        reader.end_page()
    return reader.pages


def _lines(words: Iterable[Word]) -> list[list[Word]]:
    """Return words of one size and height together, from the top down, each line from left to right."""
    lines: dict[tuple[float, float], list[Word]] = {}
    for word in words:
        lines.setdefault((round(word.top, 1), word.size), []).append(word)
    return [sorted(lines[key], key=lambda word: word.left) for key in sorted(lines)]


def _cells(line: Sequence[Word]) -> Iterator[Word]:
    """Join the words of each cell; its size and top are those of the line."""
    current = line[0]
    for word in line[1:]:
        if word.left - current.right < WORD_GAP_PT:
            current = current._replace(text=f"{current.text} {word.text}", right=word.right)
        else:
            yield current
            current = word
    yield current


class _Reader:
    def __init__(self) -> None:
        self.pages = PrintedPages()
        self._section = self._under = ""
        self._heading: list[Word] = []
        self._open: PrintedTable | None = None
        self._row_top: float | None = None

    def take(self, line: Sequence[Word]) -> None:
        """Take the next line of a page."""
        text, size = " ".join(word.text for word in line), line[0].size
        if self._section in PICTURED and size not in {SECTION, SUBHEADING}:
            self.pages.pictures += [InPicture(self._section, self._under, words) for words in _cells(line)]
        elif size in {HEADING, UNIT}:
            self._heading += _cells(line)
        elif size == CELL and (self._heading or self._open):
            self._take_row(line)
        else:
            self._open, self._heading = None, []
            if size == SECTION:
                self._section, self._under = text.partition(" ")[2], ""
            elif size == SUBHEADING:
                self._under = text

    def end_page(self) -> None:
        """Let the next page's heading decide whether the table goes on."""
        self._row_top = None

    def _take_row(self, line: Sequence[Word]) -> None:
        if self._heading:
            self._start_table()
        table = self._open
        assert table is not None
        cells, top = list(_cells(line)), line[0].top
        is_new = self._row_top is None or top - self._row_top > LINE_GAP_PT
        self._row_top = top
        if is_new:
            table.rows.append([""] * len(table.headings))
            table.pages.append(line[0].page)
        whole = is_new and len(cells) == len(table.headings)
        places = range(len(cells)) if whole else [_nearest(table.columns, cell) for cell in cells]
        for place, cell in zip(places, cells, strict=True):
            table.rows[-1][place] = f"{table.rows[-1][place]} {cell.text}".strip()
            if whole:
                left, right = table.columns[place]
                table.columns[place] = min(left, cell.left), max(right, cell.right)

    def _start_table(self) -> None:
        columns = _columns(self._heading)
        headings = tuple(_under(self._heading, column, size=HEADING) for column in columns)
        self._row_top = None
        last = self.pages.tables[-1] if self.pages.tables else None
        goes_on = last is not None and (last.section, last.under, last.headings) == (
            self._section,
            self._under,
            headings,
        )
        if not goes_on:
            units = tuple(_under(self._heading, column, size=UNIT) for column in columns)
            last = PrintedTable(section=self._section, under=self._under, headings=headings, units=units)
            last.columns = columns
            self.pages.tables.append(last)
        self._open, self._heading = last, []


def _columns(heading: Sequence[Word]) -> list[tuple[float, float]]:
    """Return the span of each column's heading, its lines and its unit taken together."""
    columns: list[tuple[float, float]] = []
    for word in sorted(heading, key=lambda word: word.left):
        if columns and word.left - columns[-1][1] < WORD_GAP_PT:
            columns[-1] = columns[-1][0], max(columns[-1][1], word.right)
        else:
            columns.append((word.left, word.right))
    return columns


def _under(heading: Sequence[Word], column: tuple[float, float], *, size: float) -> str:
    own = [word for word in heading if word.size == size and column[0] <= word.left and word.right <= column[1]]
    return " ".join(word.text for word in sorted(own, key=lambda word: (word.top, word.left)))


def _nearest(columns: Sequence[tuple[float, float]], cell: Word) -> int:
    """Return the column that a cell stands in, or next to."""
    apart = [max(left - cell.right, cell.left - right) for left, right in columns]
    return min(range(len(columns)), key=apart.__getitem__)
