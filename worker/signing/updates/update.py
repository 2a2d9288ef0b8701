"""One update of a PDF: the objects that it adds or puts in the place of others, and what they were before."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, Reference, StreamObject
from pyhanko.pdf_utils.reader import HistoricalResolver, PdfFileReader

MISSING = object()


# What a rule gives: each object of an update that it accounts for, and in words each thing that is wrong.
Explained = Iterator[Reference | str]


@dataclass(frozen=True, kw_only=True)
class Update:
    """One revision after the certified one, held against the one before it."""

    reader: PdfFileReader
    revision: int
    before: HistoricalResolver
    after: HistoricalResolver
    added: frozenset[Reference]
    replaced: frozenset[Reference]

    @property
    def changed(self) -> frozenset[Reference]:
        """Return every object that the update writes."""
        return self.added | self.replaced

    def now(self, value: Any) -> Any:
        """Return what a value stands for after the update."""
        return self.after.get_object(key_of(value)) if isinstance(value, IndirectObject) else value

    def then(self, value: Any) -> Any:
        """Return what a value stood for before the update."""
        return self.before.get_object(key_of(value)) if isinstance(value, IndirectObject) else value

    def written(self, *values: Any) -> frozenset[Reference]:
        """Return which of these values are objects that the update writes."""
        return self.changed & {key_of(one) for one in values if isinstance(one, IndirectObject)}


def read_update(reader: PdfFileReader, revision: int) -> Update:
    """Read what a revision writes."""
    freed = {key_of(one) for one in reader.xrefs.refs_freed_in_revision(revision)}
    written = {key_of(one) for one in reader.xrefs.explicit_refs_in_revision(revision)} - freed
    known = {one for one in written if reader.xrefs.get_historical_ref(one, revision - 1) is not None}
    return Update(
        reader=reader,
        revision=revision,
        before=HistoricalResolver(reader, revision - 1),
        after=HistoricalResolver(reader, revision),
        added=frozenset(written - known),
        replaced=frozenset(known),
    )


def key_of(value: IndirectObject | Reference) -> Reference:
    """Return by what an object is known, whichever revision it was reached from."""
    return Reference(value.idnum, value.generation)


def raw(holder: Any, name: str) -> Any:
    """Return an entry as it stands, which may be a reference; `MISSING` where there is none."""
    return holder.raw_get(name) if isinstance(holder, DictionaryObject) and name in holder else MISSING


def raw_items(array: Any) -> Iterator[Any]:
    """Give the items of an array, which may be references; where no array stands there are none."""
    if array is MISSING or isinstance(array, generic.NullObject):
        return
    for index in range(len(array)):
        yield array.raw_get(index) if isinstance(array, generic.ArrayObject) else array[index]


def plain(value: Any) -> Any:
    """Return a value in a form that can be compared between revisions: an object is known by its number alone."""
    match value:
        case IndirectObject():
            return "object", value.idnum, value.generation
        case StreamObject():
            return "stream", bytes(value.encoded_data), _entries(value)
        case DictionaryObject():
            return "dictionary", _entries(value)
        case list():
            return "array", tuple(plain(one) for one in raw_items(value))
        case _:
            return single_value(value)


def single_value(single: Any) -> tuple[str, Any]:
    """Return a value with its kind: a name is no string, true is no number."""
    match single:
        case generic.BooleanObject():
            return "boolean", bool(single)
        case generic.NumberObject() | generic.FloatObject():
            return "number", Decimal(str(single))
        case generic.NameObject():
            return "name", str(single)
        case generic.TextStringObject() | generic.ByteStringObject():
            return "string", bytes(single.original_bytes)
        case _:
            return type(single).__name__, None


def _entries(holder: Mapping[str, Any]) -> frozenset[tuple[str, Any]]:
    return frozenset((name, plain(raw(holder, name))) for name in holder)


def other_entries(one: Any, other: Any) -> set[str]:
    """Return the names of the entries in which two dictionaries differ."""
    names = {*(one or ()), *(other or ())}
    return {str(name) for name in names if plain(raw(one, name)) != plain(raw(other, name))}


def changes(one: Any, other: Any, *, of: str, but: Collection[str]) -> Iterator[str]:
    """Say which entries of two dictionaries differ, but for those that may."""
    yield from (f"changes {name} of {of}" for name in sorted(other_entries(one, other).difference(but)))
