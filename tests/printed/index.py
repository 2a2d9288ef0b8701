"""What the index of fibres has to print by the pages on which the other tables were read."""

from collections.abc import Iterable

from tests.printed.tables import PrintedTable
from tests.printed.values import NONE, Row

INDEX = "Index of fibres"


def index_rows(tables: Iterable[PrintedTable]) -> list[Row]:
    """Return for each fibre the first page on which each section has a row of it."""
    pages: dict[str, dict[int, int]] = {}
    for table in tables:
        if table.section != INDEX and "Fibre" in table.headings:
            place = table.column("Fibre")
            for row, page in zip(table.rows, table.pages, strict=True):
                # A length of fibre, or all fibres together, is no fibre's number.
                if row[place].isdigit():
                    pages.setdefault(table.section, {}).setdefault(int(row[place]), page)
    return [
        {"Fibre": str(fibre)} | {section: str(own.get(fibre, NONE)) for section, own in pages.items()}
        for fibre in sorted(set().union(*pages.values()))
    ]
