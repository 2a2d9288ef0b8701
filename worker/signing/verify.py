"""Judge a package as a receiver would, from its bytes alone."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import sha256
from io import BytesIO

from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm, enumerate_sig_fields
from pyhanko.sign.validation import EmbeddedPdfSignature, read_certification_data

from worker.signing.certificates import Trusted, read_trust
from worker.signing.fields import FIELD_TITLES, SEAL_FIELD
from worker.signing.history import check_history, is_document_timestamp
from worker.signing.parsing import UNREADABLE, attachment_digests, read_attachment
from worker.signing.report import PackageReport, SignatureReport
from worker.signing.trust import Trust

__all__ = ["PackageReport", "SignatureReport", "read_attachment", "verify"]


def verify(
    pdf: bytes, *, trust: Sequence[Trusted], now: datetime, time_trust: Sequence[Trusted] | None = None
) -> PackageReport:
    """Check every signature and the form of the package; whatever the bytes are, answer with a report.

    Good means: the fields are exactly those of a package, and document time stamps after its signatures; the seal came
    first and lets only signatures follow; each signature and time stamp is intact, trusted, and followed by permitted
    changes only; the last one covers the file to its end. `time_trust` are the roots of time-stamp authorities, where
    they are others than those of signers.
    """
    signers = read_trust(trust)
    # A person's certificate vouches for that person's signature, and for nobody's time.
    authorities = [one for one in signers if one.ca]
    trusted = Trust(signers=signers, time=authorities if time_trust is None else read_trust(time_trust))
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
    history = check_history(made, pdf=pdf, trust=trust, now=now)
    problems = [*_form_problems(reader, made), *_order_problems(reader, made), *history.problems]
    if not history.is_covered_to_its_end:
        problems.append("Something was added to the file after the last signature.")
    return PackageReport(
        sha256=digest,
        signatures=history.signatures,
        timestamps=history.timestamps,
        problems=tuple(problems),
        certified_sha256=sha256(pdf[: _end_of_certified_part(made)]).hexdigest(),
        attachments=attachment_digests(reader),
    )


def _form_problems(reader: PdfFileReader, made: Sequence[EmbeddedPdfSignature]) -> Iterator[str]:
    stamps = {str(one.field_name) for one in made if is_document_timestamp(one)}
    fields = [name for name, _, _ in enumerate_sig_fields(reader) if name not in stamps]
    in_all = len(FIELD_TITLES) + len(stamps)
    if sorted(fields) != sorted(FIELD_TITLES) or len(reader.root["/AcroForm"]["/Fields"]) != in_all:
        yield (
            "The document does not have exactly the signature fields of an acceptance package: "
            f"expected {', '.join(FIELD_TITLES)}; found {', '.join(fields)}."
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
