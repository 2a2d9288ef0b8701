"""What an update that signs or stamps has to write, a rule for each kind of object."""

import re
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, NullObject, Reference, StreamObject

from worker.signing.updates.update import MISSING, Explained, Update, key_of, other_entries, plain, raw, raw_items

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
    others = sorted(other_entries(before, after) - _OF_TRAILER)
    problems = [f"changes {name} of the trailer" for name in others]
    # ISO 32000-1, 14.4 (from memory): the first half stays for ever, the second is each revision's own.
    identifiers = [raw(one, "/ID") for one in (before, after)]
    if MISSING not in identifiers and plain(identifiers[0][0]) != plain(identifiers[1][0]):
        problems.append("changes the document's identifier")
    own = [update.reader.xrefs.get_xref_container_info(update.revision).stream_ref]
    streams = update.reader.xrefs.get_xref_data(update.revision).obj_streams_used
    objects = {key_of(one) for one in own if one is not None} | {Reference(number) for number in streams}
    return Explained(frozenset(objects & update.added), tuple(problems))


def explain_catalog(update: Update) -> Explained:
    """Hold the catalog against what it was, but for what signing adds to it."""
    before, after = update.before.root, update.after.root
    problems = [f"changes {name} of the catalog" for name in sorted(other_entries(before, after) - _ELSEWHERE)]
    version = raw(after, "/Version")
    if version is not MISSING and not _VERSION.fullmatch(str(version)):
        problems.append("changes /Version of the catalog")
    problems += _extension_problems(update, raw(before, "/Extensions"), raw(after, "/Extensions"))
    # Some tools write in objects of their own what stood in the catalog.
    objects = update.written(raw(update.after.trailer_view, "/Root")) | _closure(update, [raw(after, "/Extensions")])
    return Explained(objects, tuple(problems))


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
    problems = [f"changes {name} of the form" for name in sorted(other_entries(then, now) - _OF_FORM)]
    old, new = ([*raw_items(stand(raw(form, "/Fields")))] for stand, form in ((update.then, then), (update.now, now)))
    # An object is known by its number here; what it says by now is looked at below, field by field.
    if [plain(one) for one in new[: len(old)]] != [plain(one) for one in old]:
        problems.append("changes the order of the form's fields")
    parts = [_explain_field(update, one) for one in old]
    parts += [_explain_new_field(update, one) for one in new[len(old) :]]
    resources = raw(now, "/DR")
    if plain(resources) != plain(raw(then, "/DR")):
        parts.append(explain_drawing(update, resources))
    # Reserved places lie on their page already; only a time stamp's new one is added there.
    parts += [_explain_page(update, page, stamps=new[len(old) :]) for page in _pages(update)]
    return _together([Explained(update.written(reference_now, raw(now, "/Fields")), tuple(problems)), *parts])


def _explain_field(update: Update, field: Any, *, is_signed: bool = False) -> Explained:
    """Let a place that was there be signed and show that, and nothing else."""
    then, now = update.then(field), update.now(field)
    others = other_entries(then, now)
    is_signed |= "/V" in others
    kids = raw_items(update.now(raw(now, "/Kids"))) if "/Kids" in now else ()
    parts = [_explain_field(update, kid, is_signed=is_signed) for kid in kids]
    problems = [f"changes {name} of a field" for name in sorted(others - (_OF_SIGNING if is_signed else set()))]
    if raw(then, "/V") is not MISSING and "/V" in others:
        problems.append("signs a field anew")
    if "/V" in others:
        parts.append(_explain_signature(update, raw(now, "/V")))
    if "/AP" in others:
        parts.append(explain_drawing(update, raw(now, "/AP")))
    return _together([Explained(update.written(field), tuple(problems)), *parts])


def _explain_new_field(update: Update, field: Any) -> Explained:
    """Let a new place be a time stamp's, which shows nothing."""
    now = update.now(field)
    problems = [f"adds a field with {name}" for name in sorted(set(now) - _OF_STAMPS)]
    left, bottom, right, top = (float(one) for one in now["/Rect"]) if "/Rect" in now else (0.0, 0.0, 0.0, 0.0)
    if left != right or bottom != top or not isinstance(field, IndirectObject):
        problems.append("adds a field that shows on a page")
    return _together([Explained(update.written(field), tuple(problems)), _explain_signature(update, raw(now, "/V"))])


def _explain_signature(update: Update, value: Any) -> Explained:
    """Let a signature say who, when and why, and lead nowhere else."""
    now = update.now(value)
    if not isinstance(now, DictionaryObject) or isinstance(now, StreamObject):
        return Explained(problems=("fills a field with no signature",))
    problems = [f"adds a signature with {name}" for name in sorted(set(now) - _OF_SIGNATURES)]
    # What a tool says of itself may stand in objects of its own; a stream is none of that.
    led_to = _closure(update, (raw(now, name) for name in now))
    if any(isinstance(update.after.get_object(one), StreamObject) for one in led_to):
        problems.append("adds a signature that leads to a stream")
    return Explained(update.written(value) | led_to, tuple(problems))


def explain_drawing(update: Update, value: Any) -> Explained:
    """Let a signature show a drawing with its fonts and images, on which nothing else hangs."""
    objects = _closure(update, [value])
    held = [update.now(value), *map(update.after.get_object, objects)]
    names = {name for one in held for name in _names(one)}
    problems = tuple(f"adds a drawing with {name}" for name in sorted(names & _NOT_DRAWN))
    return Explained(objects, problems)


def _explain_page(update: Update, page: IndirectObject, *, stamps: Iterable[Any]) -> Explained:
    """Let a page get the places of time stamps beside what lies on it: they do not show."""
    then, now = update.then(page), update.now(page)
    problems = [f"changes {name} of a page" for name in sorted(other_entries(then, now) - {"/Annots"})]
    annotations = raw(now, "/Annots")
    old = [plain(one) for one in raw_items(_array(update.then(raw(then, "/Annots"))))]
    new = [plain(one) for one in raw_items(_array(update.now(annotations)))]
    allowed = {plain(one) for one in stamps}
    if new[: len(old)] != old or not set(new[len(old) :]) <= allowed:
        problems.append("changes what lies on a page")
    return Explained(update.written(page, annotations), tuple(problems))


def _pages(update: Update) -> Iterator[IndirectObject]:
    """Give the pages of which the update writes something anew."""
    waiting, seen = [raw(update.before.root, "/Pages")], set()
    while waiting:
        pointer = waiting.pop()
        node = update.then(pointer)
        if key_of(pointer) in seen:
            raise ValueError("the tree of pages leads back into itself")
        seen.add(key_of(pointer))
        if "/Kids" in node:
            waiting += raw_items(update.then(raw(node, "/Kids")))
        elif update.written(pointer, raw(node, "/Annots")):
            yield pointer


def _array(value: Any) -> Any:
    return () if value is MISSING or isinstance(value, NullObject) else value


def _closure(update: Update, values: Iterable[Any]) -> frozenset[Reference]:
    """Return the new objects that values lead to, of which nothing but these values knows."""
    # Objects that were there before are not followed: they stay as sealed, or another rule has to explain them.
    found: set[Reference] = set()
    waiting = [*values]
    while waiting:
        value = waiting.pop()
        if isinstance(value, IndirectObject):
            if key_of(value) in update.added and key_of(value) not in found:
                found.add(key_of(value))
                waiting.append(update.now(value))
        elif isinstance(value, DictionaryObject):
            waiting += (raw(value, name) for name in value)
        elif isinstance(value, list):
            waiting += raw_items(value)
    return frozenset(found)


def _names(value: Any) -> Iterator[str]:
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, DictionaryObject):
            yield from one
            waiting += (raw(one, name) for name in one)
        elif isinstance(one, list):
            waiting += raw_items(one)


def _together(parts: Iterable[Explained]) -> Explained:
    objects, problems = zip(*parts, strict=True)
    return Explained(frozenset().union(*objects), tuple(one for some in problems for one in some))
