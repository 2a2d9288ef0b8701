"""Check one signature: is it intact, from whom, since when for certain, and what followed it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

from pyhanko.sign.diff_analysis import DiffResult, ModificationLevel
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.validation import EmbeddedPdfSignature, validate_pdf_signature
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel

from service.vocabulary.signatures import SignatureLevel
from worker.signing.check.change_policy import CHANGE_POLICY
from worker.signing.check.cms import Vouched, cms_problems
from worker.signing.check.parsing import entry, fills_its_place_plainly, own_contents
from worker.signing.check.timestamp import CLOCK_TOLERANCE, attached_token, report_timestamp, timestamp_problems
from worker.signing.report import SignatureReport
from worker.signing.trust.certificates import certificate_sha256, from_asn1, is_demonstration, name_of
from worker.signing.trust.fitness import commits, seals, unfit_authorities
from worker.signing.trust.role_trust import Trust, distrust, is_sound, trusting
from worker.signing.trust.roles import Place

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


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known of a signature before it is looked at.

    It was there at `moment`, proven by a later time stamp over the document where `is_proven`; else that is now.
    """

    moment: datetime
    is_proven: bool
    is_archived: bool


def check_signature(
    signature: EmbeddedPdfSignature, *, place: Place, pdf: bytes, trust: Trust, known: Known
) -> SignatureCheck:
    """Validate one signature without a network, at the earliest time at which it is proven to have been there."""
    judged_at = _stated_time(signature) or known.moment
    status = _validate(signature, place=place, trust=trust, judged_at=judged_at, known=known)
    if judged_at != known.moment and not _proves_its_time(status, known=known):
        judged_at = known.moment
        status = _validate(signature, place=place, trust=trust, judged_at=judged_at, known=known)
    proven_at = judged_at if known.is_proven or judged_at != known.moment else None
    unfitness = tuple(_unfitness(status, place=place))
    report = _report(signature, place=place, status=status, proven_at=proven_at, is_archived=known.is_archived)
    problems = _problems(signature, place=place, status=status, pdf=pdf, known=known, judged_at=judged_at)
    return SignatureCheck(
        report=replace(report, is_trusted=report.is_trusted and not unfitness), problems=(*problems, *unfitness)
    )


def _stated_time(signature: EmbeddedPdfSignature) -> datetime | None:
    token = attached_token(signature)
    return None if token is None else token["encap_content_info"]["content"].parsed["gen_time"].native


def _validate(
    signature: EmbeddedPdfSignature, *, place: Place, trust: Trust, judged_at: datetime, known: Known
) -> PdfSignatureStatus:
    return validate_pdf_signature(
        signature,
        trusting(place.anchors(trust, now=judged_at), moment=judged_at),
        ts_validation_context=trusting(trust.time, moment=known.moment),
        diff_policy=CHANGE_POLICY,
    )


def _proves_its_time(status: PdfSignatureStatus, *, known: Known) -> bool:
    stamp = status.timestamp_validity
    return stamp is not None and is_sound(stamp) and stamp.timestamp <= known.moment + CLOCK_TOLERANCE


def _report(
    signature: EmbeddedPdfSignature,
    *,
    place: Place,
    status: PdfSignatureStatus,
    proven_at: datetime | None,
    is_archived: bool,
) -> SignatureReport:
    certificate = from_asn1(signature.signer_cert)
    reason = entry(signature.sig_object, "/Reason")
    stamp = status.timestamp_validity
    baseline = _baseline(signature, status=status, proven_at=proven_at, is_archived=is_archived)
    return SignatureReport(
        field=place.field,
        title=place.title,
        signed_by=place.signed_by,
        signer=name_of(certificate),
        signed_at=signature.self_reported_timestamp,
        proven_at=proven_at,
        timestamp=None if stamp is None else report_timestamp(stamp),
        reason=None if reason is None else str(reason),
        is_intact=status.intact and status.valid,
        is_trusted=status.trusted,
        covers_whole_file=status.coverage is SignatureCoverageLevel.ENTIRE_FILE,
        level="CMS, not PAdES" if baseline is None else baseline.label,
        baseline=baseline,
        changes=_changes(status),
        certificate_sha256=certificate_sha256(certificate),
        is_demonstration=is_demonstration(certificate),
    )


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
    signature: EmbeddedPdfSignature,
    *,
    place: Place,
    status: PdfSignatureStatus,
    pdf: bytes,
    known: Known,
    judged_at: datetime,
) -> Iterator[str]:
    whose = f"The signature of {place.title}"
    stamp = status.timestamp_validity
    stamp_problems = (
        () if stamp is None else tuple(timestamp_problems(stamp, whose=f"{whose}: its time stamp", moment=known.moment))
    )
    yield from stamp_problems
    if not (status.intact and status.valid):
        yield f"{whose} is broken: what it covers was changed after signing."
    elif not status.trusted:
        is_fit = commits(from_asn1(signature.signer_cert))
        yield f"{whose} {distrust(status, purpose='signing documents', moment=judged_at, is_fit=is_fit)}."
    elif not status.bottom_line and not stamp_problems:
        yield f"{whose} carries a condition that does not hold."
    if not status.docmdp_ok:
        yield f"{whose} was followed by changes it does not permit."
    if not fills_its_place_plainly(signature, pdf=pdf):
        yield f"{whose} leaves room in the file for bytes that nobody signed."
    vouched = Vouched.by(status, stamp)
    yield from (f"{whose} {problem}." for problem in cms_problems(own_contents(signature), vouched=vouched))


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
