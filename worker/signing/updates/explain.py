"""Explain every object that was written after the certified revision; what nothing explains is a problem.

The library's policy lets some changes pass without looking at them, and what is signed later is covered by that
signature all the same. So each update after the seal is taken apart here: the bytes between its objects, and each of
its objects, which have to be what a signature or a time stamp needs.
"""

from collections.abc import Callable, Iterator

from pyhanko.pdf_utils.reader import PdfFileReader

from worker.signing.updates.information import explain_information, explain_metadata
from worker.signing.updates.layout import LayoutError, describe, hidden_in_streams, stray_bytes
from worker.signing.updates.proofs import explain_proofs
from worker.signing.updates.rules import explain_catalog, explain_form, explain_trailer
from worker.signing.updates.update import Explained, Update, read_update

_RULES: tuple[Callable[[Update], Explained], ...] = (
    explain_trailer,
    explain_catalog,
    explain_form,
    explain_proofs,
    explain_information,
    explain_metadata,
)


def unexplained(pdf: bytes, reader: PdfFileReader, *, certified: int) -> Iterator[str]:
    """Say what was written after the certified revision that no signature or time stamp has to write."""
    for revision in range(certified + 1, reader.xrefs.total_revisions):
        whose = f"Update {revision - certified} after the seal"
        yield from (f"{whose} {problem}." for problem in _layout_problems(pdf, reader, revision))
        yield from (f"{whose} {problem}." for problem in _object_problems(read_update(reader, revision)))
        yield from (f"{whose}: {problem}" for problem in hidden_in_streams(reader, revision))


def _layout_problems(pdf: bytes, reader: PdfFileReader, revision: int) -> Iterator[str]:
    try:
        strays = stray_bytes(pdf, reader, revision)
    except LayoutError as error:
        yield f"is not laid out as an update is: {error}"
        return
    if strays:
        yield f"holds {strays} bytes that belong to no object"


def _object_problems(update: Update) -> Iterator[str]:
    # Each rule accounts for the objects that it looked at; an object is no problem where any rule knows it.
    explained = [one for rule in _RULES for one in rule(update)]
    yield from dict.fromkeys(one for one in explained if isinstance(one, str))
    rest = update.changed.difference(explained)
    added, replaced = (sorted(one.idnum for one in rest & part) for part in (update.added, update.replaced))
    if added:
        yield f"adds what nothing of its signature needs (object {describe(added)})"
    if replaced:
        yield f"changes what no signature has to change (object {describe(replaced)})"
    gone = sorted(one.idnum for one in update.reader.xrefs.refs_freed_in_revision(update.revision))
    if taken := [one for one in gone if _was_there(update, one)]:
        yield f"takes away what was there (object {describe(taken)})"


def _was_there(update: Update, number: int) -> bool:
    known = update.reader.xrefs.explicit_refs_in_revision
    return any(one.idnum == number for revision in range(update.revision) for one in known(revision))
