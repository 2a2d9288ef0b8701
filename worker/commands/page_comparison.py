"""Prove a package's pages by drawing them again from the data attached, and hold that data against itself."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from worker.package.archive.document import pack
from worker.package.data.attachment_forms import PAGES_FORM
from worker.package.data.content import PackageContent
from worker.package.data.contradictions import contradictions
from worker.package.data.from_attachments import AttachedDataError, read_content, read_making
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE, draw
from worker.package.view import build_view
from worker.signing.check.parsing import UNFITTING, read_attachments
from worker.signing.check.shown import Comparison, UnreadablePagesError, compare_shown
from worker.signing.errors import AttachmentNotFoundError
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD

_FRAMES = {
    CONTRACTOR_FIELD: (SIGNING_PAGE, SIGNATURE_BOXES["contractor_responsible"]),
    DECISION_FIELD: (SIGNING_PAGE, SIGNATURE_BOXES["decision"]),
    ENGINEER_FIELD: (SIGNING_PAGE, SIGNATURE_BOXES["owner_engineer"]),
}


class Pages(StrEnum):
    """What came of comparing a file's pages with those drawn from its data."""

    AS_DRAWN = "as_drawn"
    OTHER = "other"
    NOT_COMPARED = "not_compared"


@dataclass(frozen=True, kw_only=True)
class AuditHead:
    """The last entry of the project's audit chain when the package was made."""

    sequence: int
    hash: str


@dataclass(frozen=True, kw_only=True)
class PageProof:
    """What the attached data say of themselves and of the pages; `None` is what could not be learnt."""

    pages: Pages = Pages.NOT_COMPARED
    page_count: int | None = None
    pages_differing: int | None = None
    first_page_differing: int | None = None
    drawn_by: str | None = None
    pages_form: int | None = None
    audit_head: AuditHead | None = None
    problems: tuple[str, ...] = ()


def prove_pages(pdf: bytes) -> PageProof:
    """Hold a package's data against itself, draw its pages from it, and compare them with those that the file shows."""
    attached, proof = _read(pdf)
    return proof if attached is None else _compared(pdf, attached, proof)


def prove_data(pdf: bytes) -> PageProof:
    """Hold a package's data against itself, and leave its pages alone."""
    return _read(pdf)[1]


def proof_lines(proof: PageProof) -> Iterator[str]:
    """Say for people what was found, the problems left out."""
    if proof.audit_head is not None:
        yield f"  audit     head {proof.audit_head.sequence}, {proof.audit_head.hash}"
    match proof.pages:
        case Pages.AS_DRAWN:
            yield f"  pages     all {proof.page_count} are what the attached data give ({_making_text(proof)})"
        case Pages.OTHER:
            yield f"  pages     NOT what the attached data give ({_making_text(proof)})"
        case Pages.NOT_COMPARED:
            yield f"  pages     not compared with the attached data{_other_form(proof)}"


def _other_form(proof: PageProof) -> str:
    if proof.pages_form is None or proof.pages_form == PAGES_FORM:
        return ""
    return f": {proof.drawn_by} drew them in form {proof.pages_form}, this program draws form {PAGES_FORM}"


def _making_text(proof: PageProof) -> str:
    return f"form {proof.pages_form}, by {proof.drawn_by}"


class _Attached(NamedTuple):
    """What is attached, and the content that it gives."""

    files: Mapping[str, bytes]
    content: PackageContent


def _read(pdf: bytes) -> tuple[_Attached | None, PageProof]:
    proof = PageProof()
    try:
        files = read_attachments(pdf)
        making = read_making(files)
        proof = replace(proof, drawn_by=making.program, pages_form=making.pages_form)
        content = read_content(files)
    except (AttachmentNotFoundError, AttachedDataError) as error:
        return None, _with_problem(proof, f"The attached data cannot be read: {error}.")
    attached = _Attached(files, content)
    proof = replace(proof, audit_head=AuditHead(sequence=content.audit_sequence, hash=content.audit_hash))
    try:
        return attached, replace(proof, problems=tuple(contradictions(content)))
    except UNFITTING as error:
        return attached, _with_problem(proof, f"The attached data do not fit together ({_named(error)}).")


def _compared(pdf: bytes, attached: _Attached, proof: PageProof) -> PageProof:
    if proof.pages_form != PAGES_FORM:
        # The seal vouches for the pages; that this program cannot draw them speaks against nobody.
        return proof
    try:
        files = {name: pack((file,)) for name, file in attached.files.items()}
        drawn = draw(build_view(attached.content), attachments=files)
        return _told(proof, compare_shown(pdf, drawn=drawn, frames=_FRAMES))
    except UnreadablePagesError as error:
        return _with_problem(proof, str(error))
    except UNFITTING as error:
        return _with_problem(proof, f"The pages cannot be drawn from the attached data ({_named(error)}).")


def _told(proof: PageProof, found: Comparison) -> PageProof:
    problems = tuple(_differences(found))
    return replace(
        proof,
        pages=Pages.OTHER if problems else Pages.AS_DRAWN,
        page_count=found.page_count,
        pages_differing=len(found.other_pages),
        first_page_differing=found.other_pages[0] if found.other_pages else None,
        problems=(*proof.problems, *problems),
    )


def _differences(found: Comparison) -> Iterator[str]:
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


def _with_problem(proof: PageProof, problem: str) -> PageProof:
    return replace(proof, problems=(*proof.problems, problem))


def _named(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"
