"""The objects of a PDF by their numbers, each read once, and what they hold looked at."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from worker.signing.foreign.sections import Compressed, Found, Place, Section, Source
from worker.signing.foreign.signature_shape import check_signature
from worker.signing.pdf_values import ExcessError, Reference, read_value, unreadable, whole_number

# Tools put 100 or 200 together. To find one, a reader goes through all before it: the cost grows with the square.
MOST_IN_STREAM = 256
LONGEST_METADATA = 1 << 20
_STREAM = "an object stream"
_ENCODING = re.compile(rb"<\?xml\s[^>]*?encoding\s*=\s*[\"']([^\"']*)")

Places = Mapping[int, Place]


@dataclass(frozen=True)
class Objects:
    """Reads objects where the places of a revision say that they stand.

    Lengths and object streams are looked up as the file's last revision has them, which is what readers do.
    """

    source: Source
    latest: Places
    _read: dict[int, Found] = field(default_factory=dict)
    # What each object stream holds, by numbers and values; `None` while it is being read.
    _inside: dict[int, list[tuple[int, Any]] | None] = field(default_factory=dict)

    def at(self, place: int) -> Found:
        """Return the object that stands at a byte."""
        if place not in self._read:
            if not 0 < place < len(self.source.pdf):
                raise ExcessError("says that an object stands outside the file")
            self._read[place] = self.source.read_object(place)
        return self._read[place]

    def value(self, number: int, places: Places) -> Any:
        """Return the object with a number; `None` where there is none."""
        place = places.get(number)
        if place is None:
            return None
        if isinstance(place, Compressed):
            inside = self._held_by(place.stream)
            stands_there, value = inside[place.position] if place.position < len(inside) else (None, None)
        else:
            stands_there, value = self.at(place).number, self.at(place).value
        if stands_there != number:
            raise ExcessError("says that an object stands where another does")
        return value

    def resolved(self, value: Any, places: Places) -> Any:
        """Return what a value is, which may be a reference; one to a further reference leads nowhere."""
        return self.value(value.number, places) if isinstance(value, Reference) else value

    def _stream(self, found: Found) -> bytes:
        return self.source.read_stream(found, length=self.resolved(found.value.get("/Length"), self.latest))

    def _held_by(self, number: int) -> list[tuple[int, Any]]:
        if number not in self._inside:
            # A stream whose length, say, stands inside itself is asked for again before it was read.
            self._inside[number] = None
            self._inside[number] = list(self._unpack(number))
        inside = self._inside[number]
        if inside is None:
            raise ExcessError("has object streams that lead back into themselves")
        return inside

    def _unpack(self, number: int) -> Iterator[tuple[int, Any]]:
        place = self.latest.get(number)
        if not isinstance(place, int):
            raise ExcessError(f"has {_STREAM} that is not there")
        found = self.at(place)
        about = found.value
        if found.stream_at is None or about.get("/Type") != "/ObjStm":
            raise unreadable(place)
        count = whole_number(about.get("/N"), most=MOST_IN_STREAM, what=f"{_STREAM} whose number of objects is")
        self.source.compressed.take(count)
        unpacking = self.source.unpacking
        content = unpacking.unpack(about, self._stream(found), most=unpacking.most_each, what=_STREAM)
        first = whole_number(about.get("/First"), most=len(content), what=f"{_STREAM} whose first object is")
        heads, at, most = [], 0, len(self.source.pdf) + len(content)
        for _ in range(2 * count):
            head, at = read_value(content, at, self.source.values)
            heads.append(whole_number(head, most=most, what=f"{_STREAM} whose object is"))
        for inner, offset in zip(heads[::2], heads[1::2], strict=True):
            yield inner, read_value(content, first + offset, self.source.values)[0]
        self._refuse_chain(about.get("/Extends"), seen={number})

    def _refuse_chain(self, extended: Any, *, seen: set[int]) -> None:
        """Go along the streams that one extends, which come to an end."""
        while isinstance(extended, Reference):
            if extended.number in seen or len(seen) > MOST_IN_STREAM:
                raise ExcessError("has object streams that extend each other without end")
            seen.add(extended.number)
            about = self.value(extended.number, self.latest)
            extended = about.get("/Extends") if isinstance(about, dict) else None

    def check(self, section: Section) -> None:
        """Look at every object that one section says is there."""
        for number, place in section.places.items():
            value = self.value(number, section.places)
            if isinstance(place, int) and number:
                self._check_found(self.at(place))
            else:
                self._check_signatures(value)

    def _check_found(self, found: Found) -> None:
        if found.stream_at is not None and found.value.get("/Type") != "/XRef":
            if found.value.get("/Type") == "/Metadata" or found.value.get("/Subtype") == "/XML":
                self.check_metadata(found)
            else:
                self.source.unpacking.measure(found.value, self._stream(found))
        self._check_signatures(found.value)

    def check_metadata(self, found: Found) -> None:
        """Look at a document's description, which is XML: entities of entities would fill any memory."""
        about = found.value
        text = self.source.unpacking.unpack(about, self._stream(found), most=LONGEST_METADATA, what="metadata")
        if not _is_plain_xml(text):
            raise ExcessError("has metadata that define entities, or are no XML in UTF-8")

    def _check_signatures(self, value: Any) -> None:
        waiting = [value]
        while waiting:
            one = waiting.pop()
            if isinstance(one, dict):
                if "/ByteRange" in one:
                    whole = {name: self.resolved(part, self.latest) for name, part in one.items()}
                    check_signature(whole, file_bytes=len(self.source.pdf))
                waiting += one.values()
            elif isinstance(one, list):
                waiting += one


def _is_plain_xml(text: bytes) -> bool:
    """Tell whether XML is in UTF-8, as whoever reads it takes it (XML 1.0, appendix F), and defines nothing."""
    start = text.removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n")
    declared = _ENCODING.match(start)
    is_utf_8 = start.startswith(b"<") and (declared is None or declared[1].lower() == b"utf-8")
    return is_utf_8 and b"\0" not in text and b"<!DOCTYPE" not in text and b"<!ENTITY" not in text
