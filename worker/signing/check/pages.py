"""What a PDF shows as it stands after its last revision, held against another drawing of the same.

The library that draws gives its objects the same numbers wherever it runs, so each object of the drawing is looked for
under its own number. The file of a package begins with its drawing, byte for byte: what still stands in its old place
is as drawn. In any other file (another build of the compression library, or other pages) all that the objects hold is
compared, unpacked.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, Reference, StreamObject
from pyhanko.pdf_utils.reader import PdfFileReader

from worker.signing.check.parsing import UNREADABLE, entry
from worker.signing.updates.update import key_of, other_entries, plain, raw, raw_items

Frame = tuple[float, float, float, float]
# By a field's name, the page on which its signature may show, and where.
Frames = Mapping[str, tuple[int, Frame]]
# How a stream is packed is no part of what it holds.
_PACKING = frozenset({"/Length", "/Filter", "/DecodeParms"})
# What signing adds to the catalog or writes anew; the rest of it stays as drawn.
_OF_SIGNING = frozenset({"/AcroForm", "/DSS", "/Extensions", "/Metadata", "/Pages", "/Perms", "/Version"})


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
        file, wanted = PdfFileReader(BytesIO(pdf)), PdfFileReader(BytesIO(drawn))
        changed = set(_changed_objects(file, wanted, begins_with_it=pdf.startswith(drawn)))
        return _differences(file, wanted, frames, changed=changed)
    except UNREADABLE as error:
        raise UnreadablePagesError(f"The pages cannot be read ({error}).") from error


def _changed_objects(file: PdfFileReader, drawn: PdfFileReader, *, begins_with_it: bool) -> Iterator[Reference]:
    """Give the objects of the drawing that are no longer in the file, or hold something else there."""
    for one in drawn.xrefs.explicit_refs_in_revision(0):
        place = file.xrefs[one]
        # The place alone tells: whatever a later table says, what is read from its old place has its old bytes.
        is_in_place = begins_with_it and place == drawn.xrefs[one]
        if not is_in_place and (place is None or not _hold_the_same(file.get_object(one), drawn.get_object(one))):  # type: ignore[no-untyped-call]
            yield key_of(one)


def _hold_the_same(one: Any, other: Any) -> bool:
    if not (isinstance(one, StreamObject) and isinstance(other, StreamObject)):
        return bool(plain(one) == plain(other))
    differing = other_entries(one, other)
    # Most are packed alike; unpacked, the attached files alone would take hundreds of megabytes.
    is_packed_alike = not differing and one.encoded_data == other.encoded_data
    return is_packed_alike or (differing <= _PACKING and bool(one.data == other.data))


def _differences(
    file: PdfFileReader, drawn: PdfFileReader, frames: Frames, *, changed: set[Reference]
) -> PageDifferences:
    tree, drawn_tree = file.root["/Pages"], drawn.root["/Pages"]
    pages, drawn_pages = [*raw_items(tree["/Kids"])], [*raw_items(drawn_tree["/Kids"])]
    # What stands in the tree itself holds for every page.
    is_other_tree = bool(other_entries(tree, drawn_tree) - {"/Kids"})
    # Pages and catalog are compared by what they hold themselves, the rest here is judged with the signatures; of all
    # that they lead to it is enough to know that it changed.
    beside = [drawn.trailer.raw_get(name) for name in ("/Root", "/Info")]
    beside += [drawn.root.raw_get(name) for name in ("/Pages", "/Metadata")]
    stops = {*map(key_of, (*drawn_pages, *beside))}
    changed_within = changed - stops
    other, additions = [], []
    for number, (page, drawn_page) in enumerate(zip(pages, drawn_pages, strict=False), start=1):
        is_another = is_other_tree or key_of(page) != key_of(drawn_page)
        if not (is_another or changed_within or key_of(page) in changed):
            continue
        own, wanted = _resolved(page), _resolved(drawn_page)
        shown = [raw(wanted, name) for name in wanted if name != "/Annots"]
        if is_another or other_entries(own, wanted) - {"/Annots"} or _lead_to(shown, changed_within, stops=stops):
            other.append(number)
        over_it = [one for one in _annotations(own) if not _is_signature(one, frames, page=number)]
        drawn_over_it = _annotations(wanted)
        if plain(over_it) != plain(drawn_over_it) or _lead_to(drawn_over_it, changed_within, stops=stops):
            additions.append(number)
    entries = other_entries(file.root, drawn.root)
    entries |= {name for name in drawn.root if _lead_to([raw(drawn.root, name)], changed_within, stops=stops)}
    return PageDifferences(
        page_count=len(pages),
        drawn_count=len(drawn_pages),
        other_pages=tuple(other),
        pages_with_additions=tuple(additions),
        other_entries=tuple(sorted(entries - _OF_SIGNING)),
    )


def _lead_to(values: Iterable[Any], objects: Collection[Reference], *, stops: Collection[Reference]) -> bool:
    """Tell whether values of the drawing lead to any of some objects; the search enters no object at which it stops."""
    waiting, seen = [*values], {*stops}
    while waiting and objects:
        match waiting.pop():
            case IndirectObject() as pointer:
                one = key_of(pointer)
                if one in objects:
                    return True
                if one not in seen:
                    seen.add(one)
                    waiting.append(_resolved(pointer))
            case dict() as holder:
                waiting += [raw(holder, name) for name in holder]
            case list() as items:
                waiting += raw_items(items)
    return False


def _annotations(page: DictionaryObject) -> list[Any]:
    return [*raw_items(entry(page, "/Annots") or ())]


def _is_signature(annotation: Any, frames: Frames, *, page: int) -> bool:
    """Tell whether an annotation is a field for a signature that can show nowhere but in its own frame."""
    widget = _resolved(annotation)
    if entry(widget, "/Subtype") != "/Widget" or entry(widget, "/FT") != "/Sig":
        return False
    left, bottom, right, top = (float(number) for number in widget["/Rect"])
    # The service's own field shows nothing: it stands on the first page and has no extent.
    invisible = 1, (left, bottom, left, bottom)
    return (page, (left, bottom, right, top)) == frames.get(str(entry(widget, "/T")), invisible)


def _resolved(value: Any) -> Any:
    return value.get_object() if isinstance(value, IndirectObject) else value  # type: ignore[no-untyped-call]
