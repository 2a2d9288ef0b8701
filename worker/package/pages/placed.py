"""What stands where on the pages, and where links lead."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate
from typing import Literal, NamedTuple

from worker.package.document_model import Role
from worker.package.fonts.text_style import HEADING, PAGE_HEIGHT, Style
from worker.package.pages.table_layout import TableLayout
from worker.package.pictures.picture import Picture

LABEL_WIDTH_PT = 92.0
# The cover, and the page for decision and signatures.
PAGES_BEFORE = 2
# What a link leads to: a page, a section or a fibre's line in the index, each by its number.
Key = tuple[Literal["page", "section", "fibre"], str]
# A page, and the height on it.
Target = tuple[int, float]
# Left, bottom, right and top.
Box = tuple[float, float, float, float]


class PlacedLine(NamedTuple):
    """A line of text on its baseline."""

    x: float
    y: float
    text: str
    style: Style


class PlacedHeading(NamedTuple):
    """A section's heading, which the outline leads to."""

    y: float
    number: int
    title: str


class PlacedRows(NamedTuple):
    """Rows of a table from `first` up to `end`, under its headings."""

    top: float
    layout: TableLayout
    first: int
    end: int

    @property
    def row_tops(self) -> tuple[float, ...]:
        """The top of each row, and the foot of the last."""
        heights = (-self.layout.row_height_pt(row) for row in range(self.first, self.end))
        return tuple(accumulate(heights, initial=self.top - self.layout.heading_height_pt))

    def texts(self, column: int) -> Sequence[str]:
        """Return the texts of a column, by its index."""
        return [row[column] for row in self.layout.table.rows[self.first : self.end]]


class PlacedLink(NamedTuple):
    """A place on the page, by left, bottom, right and top, that leads to another."""

    box: Box
    leads_to: Key


class PlacedPicture(NamedTuple):
    """A picture with the height of its top."""

    top: float
    picture: Picture


Placed = PlacedLine | PlacedHeading | PlacedLink | PlacedRows | PlacedPicture
Page = list[Placed]


def link_targets(pages: Sequence[Page]) -> Mapping[Key, Target]:
    """Return each page, section and line of the index by its key."""
    return dict(_targets(pages))


def _targets(pages: Sequence[Page]) -> Iterator[tuple[Key, Target]]:
    for number, page in enumerate(pages, start=PAGES_BEFORE + 1):
        yield ("page", str(number)), (number, PAGE_HEIGHT)
        for placed in page:
            match placed:
                case PlacedHeading():
                    yield ("section", str(placed.number)), (number, placed.y + HEADING.leading_pt)
                case PlacedRows():
                    for index, column in enumerate(placed.layout.table.columns):
                        if column.role is Role.ANCHOR:
                            for fibre, top in zip(placed.texts(index), placed.row_tops, strict=False):
                                yield ("fibre", fibre), (number, top)
