"""Judge a package as a receiver would, from its bytes alone."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import sha256
from io import BytesIO

from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm, enumerate_sig_fields
from pyhanko.sign.validation import EmbeddedPdfSignature, read_certification_data

from worker.signing.check.awaited import awaited, form_of, misorder
from worker.signing.check.history import check_history, is_document_timestamp
from worker.signing.check.parsing import UNREADABLE, attachment_digests, read_attachment
from worker.signing.fields import FORMS, SEAL_FIELD
from worker.signing.report import PackageReport, SignatureReport
from worker.signing.trust.role_trust import RoleTrust, Trust, read_roles
from worker.signing.updates.explain import unexplained

__all__ = ["PackageReport", "RoleTrust", "SignatureReport", "read_attachment", "verify"]


def verify(pdf: bytes, *, trust: RoleTrust, now: datetime) -> PackageReport:
    """Check every signature and the form of the package; whatever the bytes are, answer with a report.

    Sound means: the fields are exactly those of a package, and document time stamps after its signatures; the seal came
    first and lets only signatures follow; each signature and time stamp is intact, trusted for its own place, and
    followed by permitted changes only; the last one covers the file to its end. Complete means that nothing is awaited
    besides.
    """
    trusted = read_roles(trust)
    digest = sha256(pdf).hexdigest()
    try:
        return _examine(pdf, digest=digest, trust=trusted, now=now)
    except UNREADABLE as error:
        problem = f"This is not a PDF that can be read; it may be damaged or cut short ({error})."
        return PackageReport(sha256=digest, problems=(problem,))


def _examine(pdf: bytes, *, digest: str, trust: Trust, now: datetime) -> PackageReport:
    reader = PdfFileReader(BytesIO(pdf))
    made: Sequence[EmbeddedPdfSignature] = reader.embedded_signatures
    signatures = [one for one in made if not is_document_timestamp(one)]
    if not signatures:
        return PackageReport(
            sha256=digest, problems=("The document is not signed.",), attachments=attachment_digests(reader)
        )
    fields = _package_fields(reader, made)
    form = form_of(fields)
    history = check_history(made, form=form, pdf=pdf, trust=trust, now=now)
    problems = [
        *_form_problems(reader, fields, form=form, stamps=len(history.timestamps)),
        *_order_problems(reader, made),
        *misorder(history.signatures, form=form),
        *history.problems,
        *unexplained(pdf, reader, certified=made[0].signed_revision),
    ]
    if not history.is_covered_to_its_end:
        problems.append("Something was added to the file after the last signature.")
    return PackageReport(
        sha256=digest,
        form=form,
        awaited=tuple(awaited(reader, history.signatures, form=form)),
        signatures=history.signatures,
        timestamps=history.timestamps,
        problems=tuple(problems),
        certified_sha256=sha256(pdf[: _end_of_certified_part(made)]).hexdigest(),
        attachments=attachment_digests(reader),
    )


def _package_fields(reader: PdfFileReader, made: Sequence[EmbeddedPdfSignature]) -> list[str]:
    stamps = {str(one.field_name) for one in made if is_document_timestamp(one)}
    return [name for name, _, _ in enumerate_sig_fields(reader) if name not in stamps]


def _form_problems(reader: PdfFileReader, fields: Sequence[str], *, form: int, stamps: int) -> Iterator[str]:
    expected = FORMS[form]
    if sorted(fields) != sorted(expected) or len(reader.root["/AcroForm"]["/Fields"]) != len(expected) + stamps:
        yield (
            "The document does not have exactly the signature fields of an acceptance package: "
            f"expected {', '.join(expected)}; found {', '.join(fields)}."
        )


def _order_problems(reader: PdfFileReader, made: Sequence[EmbeddedPdfSignature]) -> Iterator[str]:
    first = made[0]
    certification = read_certification_data(reader)
    is_certified = (
        certification is not None and certification.author_sig.container_ref == first.sig_object.container_ref
    )
    if first.field_name != SEAL_FIELD or not is_certified:
        yield "The first signature is not the service's seal that certifies the document."
    elif first.docmdp_level != MDPPerm.FILL_FORMS:
        yield "The service's seal does not limit later changes to signatures."


def _end_of_certified_part(made: Sequence[EmbeddedPdfSignature]) -> int:
    """Return where the certified file ended: with the seal, or with the time stamps that followed it."""
    last = made[0]
    for one in made[1:]:
        if not is_document_timestamp(one):
            break
        last = one
    return int(last.byte_range[2]) + int(last.byte_range[3])
