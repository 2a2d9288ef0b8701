"""Draw a package's pages again from the data attached and compare them, and hold that data against itself."""

import gc
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import StrEnum
from hashlib import sha256
from typing import NamedTuple

from worker.package.archive.document import Packed, pack
from worker.package.data.content import PAGES_FORM, AuditHead, PackageContent
from worker.package.data.contradictions import contradictions
from worker.package.data.from_attachments import AttachedDataError, read_content, read_making
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE, draw
from worker.package.view import build_view
from worker.signing.check.pages import PageDifferences, UnreadablePagesError, compare_drawings
from worker.signing.check.parsing import UNFITTING, Attachment, read_attachments
from worker.signing.errors import AttachmentNotFoundError
from worker.signing.fields import RESERVED

_FRAMES = {name: (SIGNING_PAGE, SIGNATURE_BOXES[place]) for place, name in RESERVED.items()}


class Pages(StrEnum):
    """What came of comparing a file's pages with those drawn from its data."""

    AS_DRAWN = "as_drawn"
    OTHER = "other"
    NOT_COMPARED = "not_compared"


@dataclass(frozen=True, kw_only=True)
class PageComparison:
    """What the attached data say of themselves and of the pages; `None` is what could not be learnt."""

    pages: Pages = Pages.NOT_COMPARED
    page_count: int | None = None
    pages_differing: int | None = None
    first_page_differing: int | None = None
    drawn_by: str | None = None
    pages_form: int | None = None
    audit_head: AuditHead | None = None
    problems: tuple[str, ...] = ()


def compare_pages(pdf: bytes) -> PageComparison:
    """Hold a package's data against itself, draw its pages from it, and compare them with those that the file shows."""
    with _without_cycle_search():
        attached, found = _read(pdf)
        # The seal vouches for the pages; that this program cannot draw those of another form speaks against nobody.
        return found if attached is None or found.pages_form != PAGES_FORM else _compared(pdf, attached, found)


def check_data(pdf: bytes) -> PageComparison:
    """Hold a package's data against itself, and leave its pages alone."""
    return _read(pdf)[1]


def comparison_lines(comparison: PageComparison) -> Iterator[str]:
    """Say for people what was found, the problems left out."""
    if comparison.audit_head is not None:
        yield f"  audit     head {comparison.audit_head.sequence}, {comparison.audit_head.hash}"
    made = f"form {comparison.pages_form}, by {comparison.drawn_by}"
    match comparison.pages:
        case Pages.AS_DRAWN:
            yield f"  pages     all {comparison.page_count} are what the attached data give ({made})"
        case Pages.OTHER:
            yield f"  pages     NOT what the attached data give ({made})"
        case Pages.NOT_COMPARED:
            drawn = f"{comparison.drawn_by} drew them in form {comparison.pages_form}"
            is_of_another_form = comparison.pages_form not in {None, PAGES_FORM}
            why = f": {drawn}, this program draws form {PAGES_FORM}" if is_of_another_form else ""
            yield f"  pages     not compared with the attached data{why}"


class _Attached(NamedTuple):
    """What is attached, packed as it is in the file, and the content that it gives."""

    files: Mapping[str, Packed]
    content: PackageContent


@contextmanager
def _without_cycle_search() -> Iterator[None]:
    """Pause the search for reference cycles: among millions of plain values it took a third of the time."""
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()


def _read(pdf: bytes) -> tuple[_Attached | None, PageComparison]:
    comparison = PageComparison()
    try:
        attachments = read_attachments(pdf)
        files = {name: one.content for name, one in attachments.items()}
        making = read_making(files)
        comparison = replace(comparison, drawn_by=making.program, pages_form=making.pages_form)
        content = read_content(files)
    except (AttachmentNotFoundError, AttachedDataError) as error:
        return None, _with_problem(comparison, f"The attached data cannot be read: {error}.")
    attached = _Attached({name: _packed(one) for name, one in attachments.items()}, content)
    comparison = replace(comparison, audit_head=content.audit)
    try:
        return attached, replace(comparison, problems=tuple(contradictions(content)))
    except UNFITTING as error:
        return attached, _with_problem(comparison, f"The attached data do not fit together ({_named(error)}).")


def _packed(one: Attachment) -> Packed:
    """Take a file as it is packed: then pages alone have to come out alike, whatever library packs."""
    if one.compressed is None:
        return pack((one.content,))
    return Packed(compressed=one.compressed, size=len(one.content), sha256=sha256(one.content).hexdigest())


def _compared(pdf: bytes, attached: _Attached, found: PageComparison) -> PageComparison:
    try:
        drawn = draw(build_view(attached.content), attachments=attached.files)
        differences = compare_drawings(pdf, drawn=drawn, frames=_FRAMES)
    except UnreadablePagesError as error:
        return _with_problem(found, str(error))
    except UNFITTING as error:
        return _with_problem(found, f"The pages cannot be drawn from the attached data ({_named(error)}).")
    problems = tuple(_problems(differences))
    return replace(
        found,
        pages=Pages.OTHER if problems else Pages.AS_DRAWN,
        page_count=differences.page_count,
        pages_differing=len(differences.other_pages),
        first_page_differing=next(iter(differences.other_pages), None),
        problems=(*found.problems, *problems),
    )


def _problems(found: PageDifferences) -> Iterator[str]:
    if found.page_count != found.drawn_count:
        yield f"The file has {found.page_count} pages, and the attached data give {found.drawn_count}."
    if found.other_pages:
        yield (
            f"Page {found.other_pages[0]} is not what the attached data give; "
            f"of {found.page_count} pages {len(found.other_pages)} differ."
        )
    if found.pages_with_additions:
        yield (
            f"On page {found.pages_with_additions[0]} something lies over the page, or is gone from it, that the "
            f"attached data give otherwise; so it is on {len(found.pages_with_additions)} pages."
        )
    if found.other_entries:
        yield f"Beside its pages the file has what the attached data give otherwise: {', '.join(found.other_entries)}."


def _with_problem(comparison: PageComparison, problem: str) -> PageComparison:
    return replace(comparison, problems=(*comparison.problems, problem))


def _named(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"
