"""What a PDF shows as it stands after its last revision, held against another drawing of the same.

Two files show the same where every object that a page leads to is the same: its content, and the fonts and images that
the content names. Bytes, object numbers and compression may differ.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
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
from worker.signing.updates.update import raw_items, single_value

Frame = tuple[float, float, float, float]
# By a field's name, the page on which its signature may show, and where.
Frames = Mapping[str, tuple[int, Frame]]
_INHERITED = ("/Resources", "/MediaBox", "/CropBox", "/Rotate")
# How a stream is packed is no part of what it holds.
_PACKING = frozenset({"/Length", "/Filter", "/DecodeParms"})
# What signing adds to the catalog or writes anew; the rest of it stays as drawn.
_OF_SIGNING = frozenset({"/AcroForm", "/DSS", "/Extensions", "/Metadata", "/Pages", "/Perms", "/Version"})
_MOST_PAGES = 100_000


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Where a file differs from the drawing it should show; page numbers start at 1."""

    page_count: int
    drawn_count: int
    other_pages: tuple[int, ...]
    pages_with_additions: tuple[int, ...]
    other_entries: tuple[str, ...]


class UnreadablePagesError(ValueError):
    """The pages of a file cannot be read."""


def compare_shown(pdf: bytes, *, drawn: bytes, frames: Frames) -> Comparison:
    """Compare what a file shows with a drawing; each signature may show in its field's frame only."""
    try:
        return _compare(_Document(pdf), _Document(drawn), frames)
    except UNREADABLE as error:
        raise UnreadablePagesError(f"The pages cannot be read ({error}).") from error


class _Document:
    def __init__(self, pdf: bytes) -> None:
        reader = PdfFileReader(BytesIO(pdf))
        self.catalog: DictionaryObject = reader.root
        self.pages: list[dict[str, Any]] = []
        self.numbers: dict[Reference, int] = {}
        for reference, page in _walk_pages(self.catalog.raw_get("/Pages")):
            self.numbers[reference] = len(self.pages)
            self.pages.append(page)


def _walk_pages(root: IndirectObject) -> Iterator[tuple[Reference, dict[str, Any]]]:
    """Give each page in order, with what it inherits; a tree that leads back into itself is refused."""
    seen: set[Reference] = set()
    waiting: list[tuple[IndirectObject, dict[str, Any]]] = [(root, {})]
    while waiting:
        pointer, inherited = waiting.pop()
        if pointer.reference in seen or len(seen) > _MOST_PAGES:
            raise ValueError("the tree of pages leads back into itself, or has no end")
        seen.add(pointer.reference)
        node = _resolved(pointer)
        own = {name: node.raw_get(name) for name in node}
        if "/Kids" in own:
            passed_on = inherited | {name: own[name] for name in _INHERITED if name in own}
            waiting += [(kid, passed_on) for kid in reversed([*raw_items(node["/Kids"])])]
        else:
            yield pointer.reference, inherited | own


def _compare(file: _Document, drawn: _Document, frames: Frames) -> Comparison:
    same = _Sameness(file, drawn)
    other, additions = [], []
    for number, (page, wanted) in enumerate(zip(file.pages, drawn.pages, strict=False), start=1):
        if not same.holds(_drawn_part(page), _drawn_part(wanted)):
            other.append(number)
        beside = [one for one in _annotations(page) if not _is_signature(one, frames, page=number)]
        if not same.holds(beside, _annotations(wanted)):
            additions.append(number)
    return Comparison(
        page_count=len(file.pages),
        drawn_count=len(drawn.pages),
        other_pages=tuple(other),
        pages_with_additions=tuple(additions),
        other_entries=tuple(
            name
            for name in sorted({*file.catalog, *drawn.catalog} - _OF_SIGNING)
            if not same.holds(_raw(file.catalog, name), _raw(drawn.catalog, name))
        ),
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

    def __init__(self, first: _Document, second: _Document) -> None:
        self._first, self._second = first, second
        self._proven: set[tuple[Reference, Reference]] = set()

    def holds(self, first: Any, second: Any) -> bool:
        """Tell whether two objects, with all that they lead to, are the same."""
        assumed: set[tuple[Reference, Reference]] = set()
        waiting = [(first, second)]
        while waiting:
            one, other = waiting.pop()
            if isinstance(one, IndirectObject) and isinstance(other, IndirectObject):
                references = one.reference, other.reference
                if references in self._proven or references in assumed:
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
    return [(_raw(one, name), _raw(other, name)) for name in names]


def _resolved(value: Any) -> Any:
    return value.get_object() if isinstance(value, IndirectObject) else value  # type: ignore[no-untyped-call]


def _raw(dictionary: Mapping[str, Any], name: str) -> Any:
    """Return an entry as it stands, which may be a reference; `None` where there is none."""
    if isinstance(dictionary, DictionaryObject):
        return dictionary.raw_get(name) if name in dictionary else None
    return dictionary.get(name)
