"""Check one signature: is it intact, from whom, and what followed it."""

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from asn1crypto import parser, x509
from pyhanko.sign.ades.report import AdESIndeterminate
from pyhanko.sign.diff_analysis import DiffResult, ModificationLevel
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.validation import EmbeddedPdfSignature, validate_pdf_signature
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from worker.signing.certificates import certificate_sha256, from_asn1, is_demonstration, name_of
from worker.signing.fields import FIELD_TITLES
from worker.signing.parsing import entry
from worker.signing.pinning import anchors_for, commits
from worker.signing.report import SignatureReport

# The libraries log what they distrust with a stack trace; here it is an answer, and stands in the report.
for _noisy in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_noisy).setLevel(logging.CRITICAL)

CHANGES_SINCE = {
    ModificationLevel.NONE: "none",
    ModificationLevel.LTA_UPDATES: "time stamps or document information only",
    ModificationLevel.FORM_FILLING: "signatures in reserved fields",
    ModificationLevel.ANNOTATIONS: "comments",
    ModificationLevel.OTHER: "content",
}


@dataclass(frozen=True, kw_only=True)
class SignatureCheck:
    """One signature's report, and what is wrong with it."""

    report: SignatureReport
    problems: tuple[str, ...]


def check_signature(
    signature: EmbeddedPdfSignature, *, pdf: bytes, anchors: Sequence[x509.Certificate], now: datetime
) -> SignatureCheck:
    """Validate one signature against the trusted authorities at this time, without a network."""
    context = ValidationContext(
        trust_roots=anchors_for(signature.signer_cert, anchors, now=now),
        moment=now,
        allow_fetching=False,
        revocation_mode="soft-fail",
    )
    status: PdfSignatureStatus = validate_pdf_signature(signature, context)
    return SignatureCheck(
        report=_report(signature, status=status),
        problems=tuple(_problems(signature, status=status, pdf=pdf, now=now)),
    )


def _report(signature: EmbeddedPdfSignature, *, status: PdfSignatureStatus) -> SignatureReport:
    certificate = from_asn1(signature.signer_cert)
    reason = entry(signature.sig_object, "/Reason")
    return SignatureReport(
        field=str(signature.field_name),
        signer=name_of(certificate),
        signed_at=signature.self_reported_timestamp,
        reason=None if reason is None else str(reason),
        is_intact=status.intact and status.valid,
        is_trusted=status.trusted,
        covers_whole_file=_covers_whole_file(status),
        level=_level(signature, status=status),
        changes=_changes(status),
        certificate_sha256=certificate_sha256(certificate),
        is_demonstration=is_demonstration(certificate),
    )


def _problems(
    signature: EmbeddedPdfSignature, *, status: PdfSignatureStatus, pdf: bytes, now: datetime
) -> Iterator[str]:
    whose = f"The signature of {FIELD_TITLES.get(signature.field_name, signature.field_name)}"
    if not (status.intact and status.valid):
        yield f"{whose} is broken: what it covers was changed after signing."
    elif not status.trusted:
        yield f"{whose} {_distrust(status, now=now)}."
    elif not status.bottom_line:
        yield f"{whose} carries a time stamp or a condition that does not hold."
    if not status.docmdp_ok:
        yield f"{whose} was followed by changes it does not permit."
    if not _fills_its_place_plainly(signature, pdf=pdf):
        yield f"{whose} leaves room in the file for bytes that nobody signed."


def _distrust(status: PdfSignatureStatus, *, now: datetime) -> str:
    certificate = from_asn1(status.signing_cert)
    if not certificate.not_valid_before_utc <= now <= certificate.not_valid_after_utc:
        return f"rests on a certificate that is not valid on {now:%Y-%m-%d}"
    # The library says the same of one that is its own issuer and unknown.
    if status.trust_problem_indic is AdESIndeterminate.CHAIN_CONSTRAINTS_FAILURE and not commits(certificate):
        return "rests on a certificate that is not meant for signing documents"
    return "is by nobody that a trusted authority vouches for"


def _covers_whole_file(status: PdfSignatureStatus) -> bool:
    return status.coverage is SignatureCoverageLevel.ENTIRE_FILE


def _level(signature: EmbeddedPdfSignature, *, status: PdfSignatureStatus) -> str:
    if entry(signature.sig_object, "/SubFilter") != SigSeedSubFilter.PADES.value:
        return "CMS, not PAdES"
    return "PAdES B-B" if status.timestamp_validity is None else "PAdES B-T"


def _changes(status: PdfSignatureStatus) -> str:
    difference = status.diff_result
    level = difference.modification_level if isinstance(difference, DiffResult) else ModificationLevel.OTHER
    return CHANGES_SINCE[level]


def _fills_its_place_plainly(signature: EmbeddedPdfSignature, *, pdf: bytes) -> bool:
    """Tell whether the gap in the signed bytes holds this signature, zeros, and nothing else."""
    start, first_length, second_start, second_length = (int(number) for number in signature.byte_range)
    gap = pdf[first_length:second_start]
    contents = bytes(signature.pkcs7_content)
    end_of_signature: int = parser.peek(contents)
    is_plain_range = start == 0 and second_start + second_length <= len(pdf)
    is_plain_gap = gap[:1] == b"<" and gap[-1:] == b">" and bytes.fromhex(gap[1:-1].decode("ascii")) == contents
    return is_plain_range and is_plain_gap and not contents[end_of_signature:].strip(b"\0")
