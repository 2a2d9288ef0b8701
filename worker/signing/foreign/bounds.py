"""Tell whether a PDF that anybody may have made stays within what a package needs."""

from dataclasses import dataclass
from typing import Any

from worker.signing.foreign.objects import Objects
from worker.signing.foreign.sections import Place, Source, read_sections
from worker.signing.foreign.streams import Unpacking
from worker.signing.foreign.trees import Revision
from worker.signing.pdf_values import Allowance, ExcessError, allow_values

# A package of 1,728 fibres, the most that a route has, would have some 22 MB: one of 864 has 10.6.
MOST_FILE_BYTES = 64 << 20
_MIB = 1 << 20
# The shortest entry of a cross-reference table, and of a value with the space behind it.
_ENTRY_BYTES, _VALUE_BYTES = 19, 3


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """How much may be in a file; left as they are, in what one person adds to a package that is ours.

    A signature with its drawing, fonts, certificates and revocation lists takes some hundred objects and one revision;
    with time stamps and their proofs, three.
    """

    bytes_in_all: int = 4 * _MIB
    revisions: int = 8
    objects: int = 20_000
    compressed: int = 1_000
    values: int = 250_000
    unpacked_each: int = 16 * _MIB
    unpacked_in_all: int = 32 * _MIB


ADDITION = Bounds()


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


def find_excess(pdf: bytes, *, ours: int = 0) -> str | None:
    """Say what in a file is more than a package needs, or unreadable; `None` if nothing is.

    The first bytes, as many as are `ours`, are known to be good. The sentence goes on after what the file is called.
    """
    if len(pdf) == ours:
        return None
    try:
        _check(pdf, ours=ours, bounds=ADDITION if ours else bounds_of_file(len(pdf)))
    except ExcessError as error:
        return f"{error}."
    return None


def _check(pdf: bytes, *, ours: int, bounds: Bounds) -> None:
    if len(pdf) - ours > bounds.bytes_in_all:
        raise ExcessError(f"has more than {bounds.bytes_in_all:,} bytes")
    in_all = Allowance(bounds.unpacked_in_all, "has streams that unpack to more than a package needs")
    source = Source(
        pdf=pdf,
        values=allow_values(bounds.values + ours // _VALUE_BYTES),
        cross_references=Allowance(
            bounds.objects + ours // _ENTRY_BYTES, "has more cross-references than a package needs"
        ),
        compressed=Allowance(bounds.compressed, "has more objects in object streams than a package needs"),
        unpacking=Unpacking(bounds.unpacked_each, in_all),
    )
    sections = read_sections(source, most=bounds.revisions + pdf.count(b"startxref", 0, ours))
    objects = Objects(source, {number: place for section in sections for number, place in section.places.items()})
    places: dict[int, Place] = {}
    root: Any = None
    for section in sections:
        places = {**places, **section.places}
        root = section.trailer.get("/Root", root)
        # Every revision that was added is read, and not the last alone: a later one may hide what an earlier one holds.
        if section.at >= ours:
            objects.check(section)
            Revision(objects, places, root).check()
