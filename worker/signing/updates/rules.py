"""What an update that signs or stamps has to write, a rule for each kind of object."""

import re
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, Reference, StreamObject

from worker.signing.updates.update import MISSING, Explained, Update, changes, other_entries, plain, raw, raw_items

# What the rules for proofs, information and the form look at, and what signing may raise.
_ELSEWHERE = frozenset({"/AcroForm", "/DSS", "/Extensions", "/Metadata", "/Version"})
_VERSION = re.compile(r"/[12]\.\d")
_OF_EXTENSIONS = frozenset({"/Type", "/BaseVersion", "/ExtensionLevel", "/URL", "/ExtensionRevision"})
_OF_TRAILER = frozenset({"/Size", "/Prev", "/Info", "/ID"})
_OF_FORM = frozenset({"/Fields", "/SigFlags", "/DR", "/DA"})
_OF_SIGNING = frozenset({"/V", "/AP", "/AS", "/F", "/DA", "/Ff", "/Type"})
_OF_STAMPS = frozenset({"/FT", "/T", "/TU", "/V", "/Type", "/Subtype", "/F", "/Ff", "/Rect", "/P"})
# ISO 32000-1, table 252 (from memory), and what tools say of themselves.
_OF_SIGNATURES = frozenset(
    {
        *("/Type", "/Filter", "/SubFilter", "/Contents", "/ByteRange", "/Reference", "/Changes", "/Name", "/M"),
        *("/Location", "/Reason", "/ContactInfo", "/R", "/V", "/Prop_Build", "/Prop_AuthTime", "/Prop_AuthType"),
    }
)
_HOLDERS = frozenset({"object", "array", "dictionary", "stream"})
# What may hang on a drawing without being drawn.
_NOT_DRAWN = frozenset(
    {
        *("/A", "/AA", "/AF", "/Alternates", "/JS", "/Metadata", "/OC", "/OPI", "/PieceInfo", "/Ref", "/StructParent"),
        *("/StructParents", "/URI", "/EF", "/Measure", "/PtData", "/Thumb", "/Annots"),
    }
)


def explain_trailer(update: Update) -> Explained:
    """Let the trailer lead to the same catalog, and have other sizes, places and information."""
    before, after = update.before.trailer_view, update.after.trailer_view
    yield from changes(before, after, of="the trailer", but=_OF_TRAILER)
    # ISO 32000-1, 14.4 (from memory): the first half stays for ever, the second is each revision's own.
    identifiers = [raw(one, "/ID") for one in (before, after)]
    if MISSING not in identifiers and plain(identifiers[0][0]) != plain(identifiers[1][0]):
        yield "changes the document's identifier"
    own = update.reader.xrefs.get_xref_container_info(update.revision).stream_ref
    streams = update.reader.xrefs.get_xref_data(update.revision).obj_streams_used
    yield from update.added & {own, *map(Reference, streams)}


def explain_catalog(update: Update) -> Explained:
    """Hold the catalog against what it was, but for what signing adds to it."""
    before, after = update.before.root, update.after.root
    yield from changes(before, after, of="the catalog", but=_ELSEWHERE)
    version = raw(after, "/Version")
    if version is not MISSING and not _VERSION.fullmatch(str(version)):
        yield "changes /Version of the catalog"
    yield from _extension_problems(update, raw(before, "/Extensions"), raw(after, "/Extensions"))
    # Some tools write in objects of their own what stood in the catalog.
    yield from update.written(raw(update.after.trailer_view, "/Root"))
    yield from _closure(update, [raw(after, "/Extensions")])


def _extension_problems(update: Update, before: Any, after: Any) -> Iterator[str]:
    then, now = update.then(before), update.now(after)
    old = {} if then is MISSING else {name: _extensions(update.then, raw(then, name)) for name in then}
    new = {} if now is MISSING else {name: _extensions(update.now, raw(now, name)) for name in now}
    added = [one for name in new.keys() - old.keys() for one in new[name] or ()]
    strange = [name for one in added for name, value in one if name not in _OF_EXTENSIONS or value[0] in _HOLDERS]
    if strange or any(new.get(name) != old[name] for name in old):
        yield "changes /Extensions of the catalog"


def _extensions(stand: Callable[[Any], Any], value: Any) -> list[list[tuple[str, Any]]]:
    """Return what one developer's extensions say, whether they stand there or in objects of their own."""
    held = stand(value)
    if isinstance(held, DictionaryObject):
        return [sorted((str(name), plain(raw(held, name))) for name in held)]
    if isinstance(held, list):
        return [said for one in raw_items(held) for said in _extensions(stand, one)]
    return [[("/Type", plain(held))]]


def explain_form(update: Update) -> Explained:
    """Hold the form against what it was, but for places that are signed now, and places of time stamps."""
    reference_then, reference_now = raw(update.before.root, "/AcroForm"), raw(update.after.root, "/AcroForm")
    then, now = update.then(reference_then), update.now(reference_now)
    yield from changes(then, now, of="the form", but=_OF_FORM)
    yield from update.written(reference_now, raw(now, "/Fields"))
    old, new = ([*raw_items(stand(raw(form, "/Fields")))] for stand, form in ((update.then, then), (update.now, now)))
    kept, stamps = new[: len(old)], new[len(old) :]
    # An object is known by its number here; what it says by now is looked at below, field by field.
    if [plain(one) for one in kept] != [plain(one) for one in old]:
        yield "changes the order of the form's fields"
    for field in old:
        yield from _explain_field(update, field)
    for field in stamps:
        yield from _explain_new_field(update, field)
    resources = raw(now, "/DR")
    if plain(resources) != plain(raw(then, "/DR")):
        yield from explain_drawing(update, resources)
    # Reserved places lie on their page already; only a time stamp's new one is added there.
    for page in _pages(update):
        yield from _explain_page(update, page, stamps=stamps)


def _explain_field(update: Update, field: Any, *, is_signed: bool = False) -> Explained:
    """Let a place that was there be signed and show that, and nothing else."""
    then, now = update.then(field), update.now(field)
    others = other_entries(then, now)
    is_signed |= "/V" in others
    yield from update.written(field)
    yield from changes(then, now, of="a field", but=_OF_SIGNING if is_signed else ())
    # The signature that stood there would be in the file still, and in no place that readers look at.
    if raw(then, "/V") is not MISSING and "/V" in others:
        yield "signs a field anew"
    for kid in raw_items(update.now(raw(now, "/Kids"))):
        yield from _explain_field(update, kid, is_signed=is_signed)
    if "/V" in others:
        yield from _explain_signature(update, raw(now, "/V"))
    if "/AP" in others:
        yield from explain_drawing(update, raw(now, "/AP"))


def _explain_new_field(update: Update, field: Any) -> Explained:
    """Let a new place be a time stamp's, which shows nothing."""
    now = update.now(field)
    yield from update.written(field)
    yield from (f"adds a field with {name}" for name in sorted(set(now) - _OF_STAMPS))
    left, bottom, right, top = (float(one) for one in now["/Rect"]) if "/Rect" in now else (0.0, 0.0, 0.0, 0.0)
    if left != right or bottom != top or not isinstance(field, IndirectObject):
        yield "adds a field that shows on a page"
    yield from _explain_signature(update, raw(now, "/V"))


def _explain_signature(update: Update, value: Any) -> Explained:
    """Let a signature say who, when and why, and lead nowhere else."""
    now = update.now(value)
    if not isinstance(now, DictionaryObject) or isinstance(now, StreamObject):
        yield "fills a field with no signature"
        return
    yield from (f"adds a signature with {name}" for name in sorted(set(now) - _OF_SIGNATURES))
    # What a tool says of itself may stand in objects of its own; a stream is none of that, and holds anything unseen.
    led_to = _closure(update, (raw(now, name) for name in now))
    if any(isinstance(update.after.get_object(one), StreamObject) for one in led_to):
        yield "adds a signature that leads to a stream"
    yield from update.written(value) | led_to


def explain_drawing(update: Update, value: Any) -> Explained:
    """Let a signature show a drawing with its fonts and images, on which nothing else hangs."""
    objects = _closure(update, [value])
    held = [update.now(value), *map(update.after.get_object, objects)]
    yield from (f"adds a drawing with {name}" for name in sorted(_names(held) & _NOT_DRAWN))
    yield from objects


def _explain_page(update: Update, page: IndirectObject, *, stamps: Iterable[Any]) -> Explained:
    """Let a page get the places of time stamps beside what lies on it: they do not show."""
    then, now = update.then(page), update.now(page)
    yield from changes(then, now, of="a page", but={"/Annots"})
    annotations = raw(now, "/Annots")
    old = [plain(one) for one in raw_items(update.then(raw(then, "/Annots")))]
    new = [plain(one) for one in raw_items(update.now(annotations))]
    if new[: len(old)] != old or not set(new[len(old) :]) <= {plain(one) for one in stamps}:
        yield "changes what lies on a page"
    yield from update.written(page, annotations)


def _pages(update: Update) -> Iterator[IndirectObject]:
    """Give the pages of which the update writes something anew."""
    waiting, seen = [raw(update.before.root, "/Pages")], set()
    while waiting:
        pointer = waiting.pop()
        node = update.then(pointer)
        if pointer.reference in seen:
            raise ValueError("the tree of pages leads back into itself")
        seen.add(pointer.reference)
        if "/Kids" in node:
            waiting += raw_items(update.then(raw(node, "/Kids")))
        elif update.written(pointer, raw(node, "/Annots")):
            yield pointer


def _closure(update: Update, values: Iterable[Any]) -> frozenset[Reference]:
    """Return the new objects that values lead to, of which nothing but these values knows."""
    # Objects that were there before are not followed: they stay as sealed, or another rule has to explain them.
    found: set[Reference] = set()
    waiting = [*values]
    while waiting:
        value = waiting.pop()
        if isinstance(value, IndirectObject):
            if value.reference in update.added and value.reference not in found:
                found.add(value.reference)
                waiting.append(update.now(value))
        else:
            waiting += _held(value)
    return frozenset(found)


def _names(values: Iterable[Any]) -> set[str]:
    """Return the names of all entries in values, however deep."""
    waiting, names = [*values], set[str]()
    while waiting:
        value = waiting.pop()
        names.update(value if isinstance(value, DictionaryObject) else ())
        waiting += _held(value)
    return names


def _held(value: Any) -> Iterator[Any]:
    """Give what stands directly in a dictionary or an array, which may be references."""
    if isinstance(value, DictionaryObject):
        yield from (raw(value, name) for name in value)
    elif isinstance(value, list):
        yield from raw_items(value)
