"""Check one time stamp: does it belong here, and does a trusted authority state it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import NamedTuple

from asn1crypto import cms
from pyhanko.sign.validation import EmbeddedPdfSignature, validate_pdf_timestamp
from pyhanko.sign.validation.generic_cms import extract_tst_data_iter
from pyhanko.sign.validation.status import DocumentTimestampStatus, SignatureCoverageLevel, TimestampSignatureStatus

from worker.signing.check.cms import cms_problems
from worker.signing.check.parsing import fills_its_place_plainly, own_contents
from worker.signing.report import SignatureReport, TimestampReport
from worker.signing.trust.certificates import certificate_sha256, from_asn1, is_demonstration, name_of
from worker.signing.trust.role_trust import Trust, distrust, trusting

# An authority's clock and ours differ, and signing takes its time after ours was read.
CLOCK_TOLERANCE = timedelta(minutes=5)


class Check(NamedTuple):
    """What is reported of one signature, or of one time stamp over the document, and what is wrong with it."""

    report: SignatureReport | TimestampReport
    covers_whole_file: bool
    problems: tuple[str, ...]


def check_document_timestamp(stamp: EmbeddedPdfSignature, *, pdf: bytes, trust: Trust, moment: datetime) -> Check:
    """Validate a document time stamp as of a moment at which it is known to have been there."""
    status: DocumentTimestampStatus = validate_pdf_timestamp(stamp, trusting(trust.time, moment=moment))
    problems = tuple(_document_problems(stamp, status=status, pdf=pdf, moment=moment))
    return Check(report_timestamp(status), status.coverage is SignatureCoverageLevel.ENTIRE_FILE, problems)


def attached_token(signature: EmbeddedPdfSignature) -> cms.SignedData | None:
    """Return the time stamp on a signature itself, where there is one."""
    return next(extract_tst_data_iter(signature.signer_info, signed=False), None)


def stated_time(token: cms.SignedData) -> datetime:
    """Return the time that a time stamp states, whoever made it."""
    stated: datetime = token["encap_content_info"]["content"].parsed["gen_time"].native
    return stated


def report_timestamp(status: TimestampSignatureStatus) -> TimestampReport:
    """Say whose time it is."""
    certificate = from_asn1(status.signing_cert)
    return TimestampReport(
        stated_at=status.timestamp,
        authority=name_of(certificate),
        is_intact=status.intact and status.valid,
        is_trusted=status.trusted,
        certificate_sha256=certificate_sha256(certificate),
        is_demonstration=is_demonstration(certificate),
    )


def timestamp_problems(status: TimestampSignatureStatus, *, whose: str, moment: datetime) -> Iterator[str]:
    """Say what is wrong with a time stamp, known to have been there at this moment."""
    if not (status.intact and status.valid):
        yield f"{whose} is broken: it was made for something else, or changed."
    elif not status.trusted:
        yield f"{whose} {distrust(status, purpose='stating the time', moment=moment)}."
    elif status.timestamp > moment + CLOCK_TOLERANCE:
        yield f"{whose} states a time that had not come: {status.timestamp:%Y-%m-%d %H:%M} UTC."


def _document_problems(
    stamp: EmbeddedPdfSignature, *, status: DocumentTimestampStatus, pdf: bytes, moment: datetime
) -> Iterator[str]:
    whose = "A time stamp over the document"
    yield from timestamp_problems(status, whose=whose, moment=moment)
    if status.coverage < SignatureCoverageLevel.ENTIRE_REVISION:
        yield f"{whose} does not cover all that was there when it was made."
    if not fills_its_place_plainly(stamp, pdf=pdf):
        yield f"{whose} leaves room in the file for bytes that nobody signed."
    of_structure = cms_problems(own_contents(stamp), of_signer=None, of_time=status, is_token=True)
    yield from (f"{whose} {problem}." for problem in of_structure)
