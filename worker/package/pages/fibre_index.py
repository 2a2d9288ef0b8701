"""The index of fibres: on which page each section begins to speak of each."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from worker.package.document_model import Column, Kind, Paragraph, Role, Section, Table
from worker.package.phrases import UNKNOWN

INDEX_TITLE = "Index of fibres"

_NOTE = Paragraph(
    text="The page on which each section begins to speak of a fibre. A page number leads there; in the lists of "
    "what is still open, and of tests set aside, a fibre's number leads here.",
    is_note=True,
)


# With more columns the words of their headings would not find room.
_MOST_SECTIONS = 8


def fibre_index(sections: Sequence[tuple[str, Mapping[str, int]]]) -> Section:
    """Return the index of what sections by title say of fibres by number: the page on which each first stands."""
    named = [(title, pages) for title, pages in sections if pages]
    fibres = sorted({fibre for _, pages in named for fibre in pages}, key=int)
    parts = max(-(-len(named) // _MOST_SECTIONS), 1)
    cuts = [round(part * len(named) / parts) for part in range(parts + 1)]
    # Links lead to a fibre's line in the first table.
    tables = [_table(fibres, named[first:end], role=None if first else Role.ANCHOR) for first, end in pairwise(cuts)]
    return Section(title=INDEX_TITLE, blocks=(_NOTE, *tables))


def _table(fibres: Sequence[str], named: Sequence[tuple[str, Mapping[str, int]]], *, role: Role | None) -> Table:
    columns = (
        Column(heading="Fibre", share=30, kind=Kind.NUMBER, role=role),
        *(Column(heading=title, share=44, kind=Kind.NUMBER, role=Role.PAGE) for title, _ in named),
    )
    rows = [(fibre, *(str(pages.get(fibre, UNKNOWN)) for _, pages in named)) for fibre in fibres]
    return Table(columns=columns, rows=rows)
