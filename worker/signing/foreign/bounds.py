"""Tell whether a PDF that anybody may have made stays within what a package needs."""

from dataclasses import dataclass

from worker.signing.foreign.objects import Objects
from worker.signing.foreign.sections import Section, SectionReader
from worker.signing.foreign.streams import Unpacking
from worker.signing.foreign.trees import Revision, check_trees
from worker.signing.foreign.values import Allowance, ExcessError

# A package of 1,728 fibres, the most that a route has, would have some 22 MB: one of 864 has 10.6.
MOST_FILE_BYTES = 64 << 20
_MIB = 1 << 20
# The shortest entry of a cross-reference table, and of a value with the space behind it.
_ENTRY_BYTES, _VALUE_BYTES = 19, 3


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """How much may be in a file, or in what was added to one.

    A signature with its drawing, fonts, certificates and revocation lists takes some hundred objects and one revision;
    with time stamps and their proofs, three.
    """

    bytes_in_all: int
    revisions: int
    objects: int
    compressed: int
    values: int
    unpacked_each: int
    unpacked_in_all: int


def bounds_of_addition() -> Bounds:
    """Return the bounds of what one person adds to a package that is ours."""
    return Bounds(
        bytes_in_all=4 * _MIB,
        revisions=8,
        objects=20_000,
        compressed=1_000,
        values=250_000,
        unpacked_each=16 * _MIB,
        unpacked_in_all=32 * _MIB,
    )


def bounds_of_file(size: int) -> Bounds:
    """Return the bounds of a whole file of this size.

    Measured on a package of 864 fibres: 9.1 MB hold 66 MB of attached data in one stream and 110 MB in all.
    """
    return Bounds(
        bytes_in_all=MOST_FILE_BYTES,
        revisions=64,
        objects=20_000 + size // 50,
        compressed=2_000,
        values=250_000 + size // 4,
        unpacked_each=32 * _MIB + 20 * size,
        unpacked_in_all=64 * _MIB + 40 * size,
    )


def find_excess(pdf: bytes, *, ours: int = 0, bounds: Bounds | None = None) -> str | None:
    """Say what in a file is more than a package needs, or unreadable; `None` if nothing is.

    The first bytes, as many as are `ours`, are known to be good. The sentence goes on after what the file is called.
    """
    if len(pdf) == ours:
        return None
    try:
        _check(pdf, ours=ours, bounds=bounds or (bounds_of_addition() if ours else bounds_of_file(len(pdf))))
    except ExcessError as error:
        return f"{error}."
    return None


def _check(pdf: bytes, *, ours: int, bounds: Bounds) -> None:
    if len(pdf) - ours > bounds.bytes_in_all:
        raise ExcessError(f"has more than {bounds.bytes_in_all:,} bytes")
    known = _known_revisions(pdf, ours=ours)
    allowance = Allowance(bounds.values + ours // _VALUE_BYTES)
    unpacking = Unpacking(bounds.unpacked_each, bounds.unpacked_in_all)
    sections = SectionReader(
        pdf, bounds.revisions + known, bounds.objects + ours // _ENTRY_BYTES, allowance, unpacking
    ).read()
    revisions = [one for one in Revision.all_of(sections) if one[0].at >= ours]
    latest = {number: place for section in sections for number, place in section.places.items()}
    objects = Objects(pdf, latest, allowance, unpacking, bounds.compressed)
    for section, revision in revisions:
        _check_objects(objects, section)
        check_trees(objects, revision)


def _known_revisions(pdf: bytes, *, ours: int) -> int:
    return pdf.count(b"startxref", 0, ours)


def _check_objects(objects: Objects, section: Section) -> None:
    for number, place in section.places.items():
        if isinstance(place, int) and number:
            found = objects.at(place)
            objects.value(number, section.places)
            objects.check(found)
        elif place is not None:
            objects.check_signatures(objects.value(number, section.places))
