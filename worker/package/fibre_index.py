"""The index of fibres: on which page each section begins to speak of each."""

from collections.abc import Mapping, Sequence

from worker.package.pieces import Column, Kind, Look, Paragraph, Role, Section, Table
from worker.package.wording import UNKNOWN

INDEX_TITLE = "Index of fibres"

_NOTE = Paragraph(
    text="The page on which each section begins to speak of a fibre. A page number leads there; in the lists of "
    "what is still open, and of tests set aside, a fibre's number leads here.",
    look=Look.NOTE,
)


def fibre_index(sections: Sequence[tuple[str, Mapping[str, int]]]) -> Section:
    """Return the index of what sections by title say of fibres by number: the page on which each first stands."""
    named = [(title, pages) for title, pages in sections if pages]
    fibres = sorted({int(fibre) for _, pages in named for fibre in pages})
    columns = (
        Column(heading="Fibre", share=30, kind=Kind.NUMBER, role=Role.ANCHOR),
        *(Column(heading=title, share=44, kind=Kind.NUMBER, role=Role.PAGE) for title, _ in named),
    )
    rows = [(str(fibre), *(_page_text(pages, fibre) for _, pages in named)) for fibre in fibres]
    return Section(title=INDEX_TITLE, blocks=(_NOTE, Table(columns=columns, rows=rows)))


def _page_text(pages: Mapping[str, int], fibre: int) -> str:
    page = pages.get(str(fibre))
    return UNKNOWN if page is None else str(page)
