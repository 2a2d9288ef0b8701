"""Judge a package as a receiver would, from its bytes alone."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import sha256
from io import BytesIO

from asn1crypto import x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm, enumerate_sig_fields
from pyhanko.sign.validation import EmbeddedPdfSignature, read_certification_data

from worker.signing.certificates import Trusted, read_trust
from worker.signing.fields import FIELD_TITLES, SEAL_FIELD
from worker.signing.parsing import UNREADABLE, attachment_digests, read_attachment
from worker.signing.report import PackageReport, SignatureReport
from worker.signing.signature_check import check_signature

__all__ = ["PackageReport", "SignatureReport", "read_attachment", "verify"]


def verify(pdf: bytes, *, trust: Sequence[Trusted], now: datetime) -> PackageReport:
    """Check every signature and the form of the package; whatever the bytes are, answer with a report.

    Good means: the fields are exactly those of a package; the seal came first and lets only signatures follow; each
    signature is intact, trusted, and followed by permitted changes only; the last one covers the file to its end.
    """
    anchors = read_trust(trust)
    digest = sha256(pdf).hexdigest()
    try:
        return _examine(pdf, digest=digest, anchors=anchors, now=now)
    except UNREADABLE as error:
        problem = f"This is not a PDF that can be read; it may be damaged or cut short ({error})."
        return PackageReport(sha256=digest, problems=(problem,))


def _examine(pdf: bytes, *, digest: str, anchors: Sequence[x509.Certificate], now: datetime) -> PackageReport:
    reader = PdfFileReader(BytesIO(pdf))
    signatures: Sequence[EmbeddedPdfSignature] = reader.embedded_signatures
    if not signatures:
        return PackageReport(
            sha256=digest, problems=("The document is not signed.",), attachments=attachment_digests(reader)
        )
    checks = [check_signature(signature, pdf=pdf, anchors=anchors, now=now) for signature in signatures]
    problems = [*_form_problems(reader), *_order_problems(reader, signatures)]
    for check in checks:
        problems.extend(check.problems)
    if not checks[-1].report.covers_whole_file:
        problems.append("Something was added to the file after the last signature.")
    return PackageReport(
        sha256=digest,
        signatures=tuple(check.report for check in checks),
        problems=tuple(problems),
        certified_sha256=sha256(pdf[: _end_of_signed_part(signatures[0])]).hexdigest(),
        attachments=attachment_digests(reader),
    )


def _form_problems(reader: PdfFileReader) -> Iterator[str]:
    fields = [name for name, _, _ in enumerate_sig_fields(reader)]
    if sorted(fields) != sorted(FIELD_TITLES) or len(reader.root["/AcroForm"]["/Fields"]) != len(FIELD_TITLES):
        yield (
            "The document does not have exactly the signature fields of an acceptance package: "
            f"expected {', '.join(FIELD_TITLES)}; found {', '.join(fields)}."
        )


def _order_problems(reader: PdfFileReader, signatures: Sequence[EmbeddedPdfSignature]) -> Iterator[str]:
    first = signatures[0]
    certification = read_certification_data(reader)
    is_certified = (
        certification is not None and certification.author_sig.container_ref == first.sig_object.container_ref
    )
    if first.field_name != SEAL_FIELD or not is_certified:
        yield "The first signature is not the service's seal that certifies the document."
    elif first.docmdp_level != MDPPerm.FILL_FORMS:
        yield "The service's seal does not limit later changes to signatures."


def _end_of_signed_part(signature: EmbeddedPdfSignature) -> int:
    return int(signature.byte_range[2]) + int(signature.byte_range[3])
