"""What a PDF shows as it stands after its last revision, held against another drawing of the same.

Two files show the same where every object that a page leads to is the same: its content, and the fonts and images that
the content names. Bytes, object numbers and compression may differ.

The file of a package begins with its drawing, byte for byte. Then whatever no later update moved is what was drawn, and
only pages that an update wrote anew are looked at. Where a file does not begin so (another build of the compression
library, or other pages), every object is.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.generic import (
    DictionaryObject,
    IndirectObject,
    Reference,
    StreamObject,
)
from pyhanko.pdf_utils.reader import PdfFileReader

from worker.signing.check.parsing import UNREADABLE, entry
from worker.signing.updates.update import key_of, raw_items, single_value

Frame = tuple[float, float, float, float]
Page = dict[str, Any]
# By a field's name, the page on which its signature may show, and where.
Frames = Mapping[str, tuple[int, Frame]]
_INHERITED = ("/Resources", "/MediaBox", "/CropBox", "/Rotate")
# How a stream is packed is no part of what it holds.
_PACKING = frozenset({"/Length", "/Filter", "/DecodeParms"})
# What signing adds to the catalog or writes anew; the rest of it stays as drawn.
_OF_SIGNING = frozenset({"/AcroForm", "/DSS", "/Extensions", "/Metadata", "/Pages", "/Perms", "/Version"})
_MOST_PAGES = 100_000


@dataclass(frozen=True, kw_only=True)
class PageDifferences:
    """Where a file differs from the drawing it should show; page numbers start at 1."""

    page_count: int
    drawn_count: int
    other_pages: tuple[int, ...]
    pages_with_additions: tuple[int, ...]
    other_entries: tuple[str, ...]


class UnreadablePagesError(ValueError):
    """The pages of a file cannot be read."""


def compare_drawings(pdf: bytes, *, drawn: bytes, frames: Frames) -> PageDifferences:
    """Compare what a file shows with a drawing; each signature may show in its field's frame only."""
    try:
        file, wanted = _Document(pdf), _Document(drawn)
        kept = _Kept.of(file, wanted) if pdf.startswith(drawn) else None
        if kept is None:
            pairs = enumerate(zip(file.pages.values(), wanted.pages.values(), strict=False), start=1)
            return _compare(file, wanted, pairs, frames, counts=(len(file.pages), len(wanted.pages)))
        rewritten = ((number, (file.own(one), wanted.own(one))) for one, number in kept.rewritten_pages)
        counts = kept.page_count, kept.page_count
        return _compare(file, wanted, rewritten, frames, counts=counts, kept=kept.objects)
    except UNREADABLE as error:
        raise UnreadablePagesError(f"The pages cannot be read ({error}).") from error


class _Document:
    def __init__(self, pdf: bytes) -> None:
        self.reader = PdfFileReader(BytesIO(pdf))
        self.catalog: DictionaryObject = self.reader.root

    @cached_property
    def pages(self) -> Mapping[Reference, Page]:
        """Each page in order, with what it inherits."""
        return dict(_walk_pages(self.catalog.raw_get("/Pages")))

    @cached_property
    def numbers(self) -> Mapping[Reference, int]:
        """Which page each is."""
        return {reference: number for number, reference in enumerate(self.pages)}

    def own(self, reference: Reference) -> Page:
        """Return what stands in an object."""
        return _entries(self.reader.get_object(Reference(reference.idnum, reference.generation, self.reader)))  # type: ignore[no-untyped-call]


@dataclass(frozen=True, kw_only=True)
class _Kept:
    """What a file that begins with its drawing has kept of it: all but its pages and what no page leads to."""

    objects: Collection[Reference]
    page_count: int
    rewritten_pages: Collection[tuple[Reference, int]]

    @classmethod
    def of(cls, file: _Document, drawn: _Document) -> "_Kept | None":
        """Look where each object of the drawing is found by now; `None` where a page may lead to one that moved.

        The place alone tells: whatever a later table says, an object that is read from its old place has its old bytes.
        """
        places = drawn.reader.xrefs
        everything = {key_of(one) for one in places.explicit_refs_in_revision(0)}
        moved = {one for one in everything if file.reader.xrefs[one] != places[one]}
        tree = key_of(drawn.catalog.raw_get("/Pages"))
        pages = {key_of(one): number for number, one in enumerate(raw_items(drawn.own(tree)["/Kids"]), start=1)}
        # Nothing on a page leads to these; what stands in them is compared, or judged with the signatures.
        beside = {key_of(drawn.reader.trailer.raw_get(name)) for name in ("/Root", "/Info")}
        beside.add(key_of(drawn.catalog.raw_get("/Metadata")))
        if key_of(file.catalog.raw_get("/Pages")) != tree or not moved <= pages.keys() | beside:
            return None
        # Whoever leads to a page leads to the same one, whatever that shows.
        return cls(
            objects=(everything - moved) | pages.keys(),
            page_count=len(pages),
            rewritten_pages=sorted(((one, pages[one]) for one in moved & pages.keys()), key=lambda one: one[1]),
        )


def _walk_pages(root: IndirectObject) -> Iterator[tuple[Reference, Page]]:
    """Give each page in order, with what it inherits; a tree that leads back into itself is refused."""
    seen: set[Reference] = set()
    waiting: list[tuple[IndirectObject, Page]] = [(root, {})]
    while waiting:
        pointer, inherited = waiting.pop()
        if pointer.reference in seen or len(seen) > _MOST_PAGES:
            raise ValueError("the tree of pages leads back into itself, or has no end")
        seen.add(pointer.reference)
        node = _resolved(pointer)
        own = _entries(node)
        if "/Kids" in own:
            passed_on = inherited | {name: own[name] for name in _INHERITED if name in own}
            waiting += [(kid, passed_on) for kid in reversed([*raw_items(node["/Kids"])])]
        else:
            yield pointer.reference, inherited | own


def _compare(
    file: _Document,
    drawn: _Document,
    pairs: Iterable[tuple[int, tuple[Page, Page]]],
    frames: Frames,
    *,
    counts: tuple[int, int],
    kept: Collection[Reference] = (),
) -> PageDifferences:
    same = _Sameness(file, drawn, kept=kept)
    other, additions = [], []
    for number, (page, wanted) in pairs:
        if not same.holds(_drawn_part(page), _drawn_part(wanted)):
            other.append(number)
        beside = [one for one in _annotations(page) if not _is_signature(one, frames, page=number)]
        if not same.holds(beside, _annotations(wanted)):
            additions.append(number)
    catalogs = _entries(file.catalog), _entries(drawn.catalog)
    names = sorted({*catalogs[0], *catalogs[1]} - _OF_SIGNING)
    return PageDifferences(
        page_count=counts[0],
        drawn_count=counts[1],
        other_pages=tuple(other),
        pages_with_additions=tuple(additions),
        other_entries=tuple(name for name in names if not same.holds(catalogs[0].get(name), catalogs[1].get(name))),
    )


def _drawn_part(page: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in page.items() if name not in {"/Parent", "/Annots"}}


def _annotations(page: Mapping[str, Any]) -> list[Any]:
    return [*raw_items(_resolved(page.get("/Annots", ())))]


def _is_signature(annotation: Any, frames: Frames, *, page: int) -> bool:
    """Tell whether an annotation is a field for a signature that can show nowhere but in its own frame."""
    widget = _resolved(annotation)
    if entry(widget, "/Subtype") != "/Widget" or entry(widget, "/FT") != "/Sig":
        return False
    left, bottom, right, top = (float(number) for number in widget["/Rect"])
    invisible = 1, (left, bottom, left, bottom)
    return (page, (left, bottom, right, top)) == frames.get(str(entry(widget, "/T")), invisible)


class _Sameness:
    """Tells whether objects of two documents are the same, whatever their numbers; a loop among them does no harm."""

    def __init__(self, first: _Document, second: _Document, *, kept: Collection[Reference]) -> None:
        self._first, self._second, self._kept = first, second, kept
        self._proven: set[tuple[Reference, Reference]] = set()

    def holds(self, first: Any, second: Any) -> bool:
        """Tell whether two objects, with all that they lead to, are the same."""
        assumed: set[tuple[Reference, Reference]] = set()
        waiting = [(first, second)]
        while waiting:
            one, other = waiting.pop()
            if isinstance(one, IndirectObject) and isinstance(other, IndirectObject):
                references = one.reference, other.reference
                is_kept = key_of(one) == key_of(other) and key_of(one) in self._kept
                if is_kept or references in self._proven or references in assumed:
                    continue
                assumed.add(references)
                pages = self._first.numbers.get(one.reference), self._second.numbers.get(other.reference)
                if pages != (None, None):
                    if pages[0] != pages[1]:
                        return False
                    continue
            parts = _parts(_resolved(one), _resolved(other))
            if parts is None:
                return False
            waiting += parts
        self._proven |= assumed
        return True


def _parts(one: Any, other: Any) -> list[tuple[Any, Any]] | None:
    """Return the pairs that have to be the same for two objects to be; `None` if they already differ."""
    match one, other:
        case StreamObject(), StreamObject():
            names = {*one, *other} - _PACKING
            return _pairs(one, other, names) if _holds_the_same(one, other) else None
        case (StreamObject(), _) | (_, StreamObject()):
            return None
        case dict(), dict():
            return _pairs(one, other, {*one, *other})
        case list(), list():
            return [*zip(raw_items(one), raw_items(other), strict=True)] if len(one) == len(other) else None
        case _:
            return [] if single_value(one) == single_value(other) else None


def _holds_the_same(one: StreamObject, other: StreamObject) -> bool:
    # Most are packed alike; unpacked, the attached files alone would take hundreds of megabytes.
    is_packed_alike = all(entry(one, name) == entry(other, name) for name in ("/Filter", "/DecodeParms"))
    return bool(is_packed_alike and one.encoded_data == other.encoded_data) or bool(one.data == other.data)


def _pairs(one: Mapping[str, Any], other: Mapping[str, Any], names: set[str]) -> list[tuple[Any, Any]] | None:
    if not all(name in one and name in other for name in names):
        return None
    first, second = _entries(one), _entries(other)
    return [(first[name], second[name]) for name in names]


def _resolved(value: Any) -> Any:
    return value.get_object() if isinstance(value, IndirectObject) else value  # type: ignore[no-untyped-call]


def _entries(holder: Mapping[str, Any]) -> Page:
    """Return the entries of a dictionary as they stand, which may be references."""
    return {name: holder.raw_get(name) for name in holder} if isinstance(holder, DictionaryObject) else dict(holder)
