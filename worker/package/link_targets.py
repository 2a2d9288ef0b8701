"""Where everything is that links lead to, known before anything is drawn: most links lead on to later pages."""

from collections.abc import Iterator, Mapping, Sequence

from worker.package.flow import PAGES_BEFORE, Page, PlacedHeading, PlacedRows
from worker.package.link_keys import fibre_key, page_key, section_key
from worker.package.look import HEADING, PAGE_HEIGHT
from worker.package.pieces import Role

# A page, and the height on it.
Target = tuple[int, float]


def link_targets(pages: Sequence[Page]) -> Mapping[str, Target]:
    """Return each page, section and line of the index by its key."""
    return dict(_targets(pages))


def _targets(pages: Sequence[Page]) -> Iterator[tuple[str, Target]]:
    for number, page in enumerate(pages, start=PAGES_BEFORE + 1):
        yield page_key(number), (number, PAGE_HEIGHT)
        for placed in page:
            match placed:
                case PlacedHeading():
                    yield section_key(placed.number), (number, placed.y + HEADING.leading_pt)
                case PlacedRows():
                    for fibre, top in _lines_of_fibres(placed):
                        yield fibre_key(fibre), (number, top)


def _lines_of_fibres(placed: PlacedRows) -> Iterator[tuple[str, float]]:
    table = placed.layout.table
    for index, column in enumerate(table.columns):
        if column.role is Role.ANCHOR:
            rows = table.rows[placed.first : placed.end]
            yield from ((row[index], top) for row, top in zip(rows, placed.row_tops, strict=False))
