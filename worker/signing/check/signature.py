"""Check one signature or time stamp: is it intact, from whom, since when for certain, and what followed it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from pyhanko.sign.diff_analysis import DiffResult, ModificationLevel
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.validation import EmbeddedPdfSignature, validate_pdf_signature, validate_pdf_timestamp
from pyhanko.sign.validation.status import (
    DocumentTimestampStatus,
    PdfSignatureStatus,
    SignatureCoverageLevel,
    TimestampSignatureStatus,
)

from service.vocabulary.signatures import SignatureLevel
from worker.signing.check.archive import NOT_ARCHIVED, check_archive
from worker.signing.check.change_policy import CHANGE_POLICY
from worker.signing.check.cms import cms_problems
from worker.signing.check.parsing import attached_token, entry, fills_its_place_plainly, own_contents, stated_time
from worker.signing.report import SignatureReport, TimestampReport
from worker.signing.trust.certificates import (
    certificate_sha256,
    commits,
    from_asn1,
    is_demonstration,
    name_of,
    seals,
    unfit_authorities,
)
from worker.signing.trust.role_trust import Trust, distrust, is_sound, trusting
from worker.signing.trust.roles import Place

# An authority's clock and ours differ, and signing takes its time after ours was read.
CLOCK_TOLERANCE = timedelta(minutes=5)
CHANGES_SINCE = {
    ModificationLevel.NONE: "none",
    ModificationLevel.LTA_UPDATES: "time stamps or document information only",
    ModificationLevel.FORM_FILLING: "signatures in reserved fields",
    ModificationLevel.ANNOTATIONS: "comments",
    ModificationLevel.OTHER: "content",
}


class Check(NamedTuple):
    """What is reported of one signature, or of one time stamp over the document, and what is wrong with it."""

    report: SignatureReport | TimestampReport
    covers_whole_file: bool
    problems: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known of a signature before it is looked at.

    It was there at `moment`: proven by a good time stamp over the document that is the one `following`, else now.
    """

    moment: datetime
    following: EmbeddedPdfSignature | None
    now: datetime


class _Judged(NamedTuple):
    """What the library finds of a signature as of a time."""

    at: datetime
    status: PdfSignatureStatus


def check_signature(signature: EmbeddedPdfSignature, *, place: Place, pdf: bytes, trust: Trust, known: Known) -> Check:
    """Validate one signature without a network, at the earliest time at which it is proven to have been there."""
    judged = _validate(signature, place=place, trust=trust, known=known)
    status, stamp = judged.status, judged.status.timestamp_validity
    proven_at = judged.at if known.following is not None or judged.at != known.moment else None
    archive = NOT_ARCHIVED
    if known.following is not None:
        archive = check_archive(signature, place=place, following=known.following, trust=trust, now=known.now)
    unfitness = [*_unfitness(status, place=place)]
    problems = [*_problems(signature, place=place, judged=judged, pdf=pdf, known=known), *unfitness]
    if archive.is_withdrawn:
        problems.append(f"The signature of {place.title} rests on a certificate that its issuer had withdrawn.")
    certificate = from_asn1(signature.signer_cert)
    reason = entry(signature.sig_object, "/Reason")
    baseline = _baseline(signature, status=status, proven_at=proven_at, is_archived=archive.is_archived)
    report = SignatureReport(
        field=place.field,
        title=place.title,
        signed_by=place.signed_by,
        signer=name_of(certificate),
        signed_at=signature.self_reported_timestamp,
        proven_at=proven_at,
        timestamp=None if stamp is None else _report_timestamp(stamp),
        reason=None if reason is None else str(reason),
        is_intact=status.intact and status.valid,
        is_trusted=status.trusted and not unfitness,
        covers_whole_file=status.coverage is SignatureCoverageLevel.ENTIRE_FILE,
        level="CMS, not PAdES" if baseline is None else baseline.label,
        baseline=baseline,
        changes=_changes(status),
        certificate_sha256=certificate_sha256(certificate),
        is_demonstration=is_demonstration(certificate),
    )
    return Check(report, report.covers_whole_file, tuple(problems))


def _validate(signature: EmbeddedPdfSignature, *, place: Place, trust: Trust, known: Known) -> _Judged:
    """Judge a signature as of its own time stamp's time; where that proves nothing, as of when it is known."""
    # The time of a stamp that nobody trusts may be any: it would date a signature back to when its certificate held.
    token = attached_token(signature)
    moments = [known.moment] if token is None else [stated_time(token), known.moment]
    for moment in moments:
        status = validate_pdf_signature(
            signature,
            trusting(place.anchors(trust, now=moment), moment=moment),
            ts_validation_context=trusting(trust.time, moment=known.moment),
            diff_policy=CHANGE_POLICY,
        )
        if _proves_its_time(status, known=known):
            break
    return _Judged(moment, status)


def _proves_its_time(status: PdfSignatureStatus, *, known: Known) -> bool:
    stamp = status.timestamp_validity
    return stamp is not None and is_sound(stamp) and stamp.timestamp <= known.moment + CLOCK_TOLERANCE


def _unfitness(status: PdfSignatureStatus, *, place: Place) -> Iterator[str]:
    """Say for which reasons of purpose a certificate that somebody trusted vouches for may still not stand here."""
    path = status.validation_path
    if not status.trusted or path is None:
        return
    if place.is_seal and not seals(from_asn1(place.certificate)):
        yield f"The signature of {place.title} rests on a certificate that is not meant for sealing documents."
    above = [one for one in path.iter_certs(include_root=True) if one.dump() != place.certificate.dump()]
    for reason in unfit_authorities(above, is_seal=place.is_seal):
        yield f"The signature of {place.title} rests on an authority that may not vouch for it: {reason}."


def _problems(
    signature: EmbeddedPdfSignature, *, place: Place, judged: _Judged, pdf: bytes, known: Known
) -> Iterator[str]:
    whose, status = f"The signature of {place.title}", judged.status
    stamp = status.timestamp_validity
    of_stamp = _timestamp_problems(stamp, whose=f"{whose}: its time stamp", moment=known.moment) if stamp else ()
    yield from (stamp_problems := [*of_stamp])
    if not (status.intact and status.valid):
        yield f"{whose} is broken: what it covers was changed after signing."
    elif not status.trusted:
        is_fit = commits(from_asn1(signature.signer_cert))
        yield f"{whose} {distrust(status, purpose='signing documents', moment=judged.at, is_fit=is_fit)}."
    elif not status.bottom_line and not stamp_problems:
        yield f"{whose} carries a condition that does not hold."
    if not status.docmdp_ok:
        yield f"{whose} was followed by changes it does not permit."
    if not fills_its_place_plainly(signature, pdf=pdf):
        yield f"{whose} leaves room in the file for bytes that nobody signed."
    of_structure = cms_problems(own_contents(signature), of_signer=status, of_time=stamp)
    yield from (f"{whose} {problem}." for problem in of_structure)


def _baseline(
    signature: EmbeddedPdfSignature, *, status: PdfSignatureStatus, proven_at: datetime | None, is_archived: bool
) -> SignatureLevel | None:
    if entry(signature.sig_object, "/SubFilter") != SigSeedSubFilter.PADES.value:
        return None
    if is_archived and is_sound(status):
        return SignatureLevel.B_LTA
    # EN 319 142-1 (from memory): the time may be proven by a stamp on the signature or by one over the document.
    return SignatureLevel.B_B if proven_at is None else SignatureLevel.B_T


def _changes(status: PdfSignatureStatus) -> str:
    difference = status.diff_result
    level = difference.modification_level if isinstance(difference, DiffResult) else ModificationLevel.OTHER
    return CHANGES_SINCE[level]


def check_document_timestamp(stamp: EmbeddedPdfSignature, *, pdf: bytes, trust: Trust, moment: datetime) -> Check:
    """Validate a document time stamp as of a moment at which it is known to have been there."""
    status: DocumentTimestampStatus = validate_pdf_timestamp(stamp, trusting(trust.time, moment=moment))
    problems = tuple(_document_problems(stamp, status=status, pdf=pdf, moment=moment))
    return Check(_report_timestamp(status), status.coverage is SignatureCoverageLevel.ENTIRE_FILE, problems)


def _report_timestamp(status: TimestampSignatureStatus) -> TimestampReport:
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


def _timestamp_problems(status: TimestampSignatureStatus, *, whose: str, moment: datetime) -> Iterator[str]:
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
    yield from _timestamp_problems(status, whose=whose, moment=moment)
    if status.coverage < SignatureCoverageLevel.ENTIRE_REVISION:
        yield f"{whose} does not cover all that was there when it was made."
    if not fills_its_place_plainly(stamp, pdf=pdf):
        yield f"{whose} leaves room in the file for bytes that nobody signed."
    of_structure = cms_problems(own_contents(stamp), of_signer=None, of_time=status, is_token=True)
    yield from (f"{whose} {problem}." for problem in of_structure)
