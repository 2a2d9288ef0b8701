"""Characters that no embedded typeface has: found in the words of a view, and listed so that nobody overlooks them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from worker.package.document_model import (
    Block,
    Column,
    Cover,
    Facts,
    MissingGlyph,
    PackageView,
    Paragraph,
    Section,
    SigningPage,
    Subheading,
    Table,
    listing,
)
from worker.package.fonts.font_metrics import REPLACEMENT, load_face, with_glyphs
from worker.package.fonts.text_style import BODY, NUMBER, SUBHEADING, Face
from worker.package.pictures.picture import Picture, Text

GLYPHS_TITLE = "Characters that could not be printed"
# A long text in a script that is not at hand would fill pages with its characters.
_MOST_LISTED = 60
_COLUMNS = (Column(heading="Character", share=80), Column(heading="Where it stands", share=420))

# A line of text with the typeface it is set in.
_Set = tuple[Face, str]


def find_missing_glyphs(view: PackageView) -> tuple[MissingGlyph, ...]:
    """Return which characters a reader of the pages sees replaced, in order of their code points."""
    places: defaultdict[str, list[str]] = defaultdict(list)
    for place, texts in _texts_by_place(view):
        for character in _missing(texts):
            places[character].append(place)
    return tuple(MissingGlyph(character=one, places=tuple(places[one])) for one in sorted(places))


def glyphs_section(missing: Sequence[MissingGlyph]) -> Section:
    """Return the list of characters that were replaced, by code point and by where they stand."""
    note = f"Each is printed as {REPLACEMENT}. The attached data have them as they came."
    if len(missing) > _MOST_LISTED:
        note = f"{note} These are the first {_MOST_LISTED} of {len(missing)}."
    rows = tuple((one.code_point, "; ".join(one.places)) for one in missing[:_MOST_LISTED])
    return listing(title=GLYPHS_TITLE, blocks=[Table(columns=_COLUMNS, rows=rows)], note=note)


def _missing(texts: Iterable[_Set]) -> set[str]:
    by_face: defaultdict[Face, set[str]] = defaultdict(set)
    for face, text in texts:
        if not text.isascii():
            by_face[face].update(text)
    return {one for face, characters in by_face.items() for one in characters if _is_replaced(one, face)}


def _is_replaced(character: str, face: Face) -> bool:
    return character != REPLACEMENT and with_glyphs(character, load_face(face).face.charToGlyph) == REPLACEMENT


def _texts_by_place(view: PackageView) -> Iterator[tuple[str, Iterator[_Set]]]:
    yield "head or foot of each page", iter([(BODY.face, text) for text in (view.title, view.project, view.subject)])
    yield "first page", _texts_of_cover(view.cover)
    yield "second page", _texts_of_signing(view.signing)
    for number, section in enumerate(view.sections, start=1):
        yield f"section {number}, {section.title}", _texts_of(*section.blocks)


def _texts_of_cover(cover: Cover) -> Iterator[_Set]:
    yield NUMBER.face, cover.number
    yield from ((BODY.face, text) for text in (cover.route, cover.statement))
    yield from _texts_of(cover.facts, cover.summary, cover.digests, cover.segments, cover.declared)


def _texts_of_signing(page: SigningPage) -> Iterator[_Set]:
    yield BODY.face, page.introduction.text
    yield from ((BODY.face, frame.note) for frame in (page.contractor_frame, page.engineer_frame))


def _texts_of(*blocks: Block) -> Iterator[_Set]:
    for block in blocks:
        match block:
            case Paragraph():
                yield block.style.face, block.text
            case Subheading():
                yield SUBHEADING.face, block.text
            case Facts():
                for fact in block.facts:
                    yield BODY.face, fact.label
                    yield fact.style.face, fact.value
            case Table():
                # A row in one piece: a route has hundreds of thousands of cells.
                yield from ((BODY.face, "".join(row)) for row in block.rows)
            case Picture():
                yield from ((mark.style.face, mark.text) for mark in block.marks if isinstance(mark, Text))
