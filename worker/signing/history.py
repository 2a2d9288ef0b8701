"""Go through a document's signatures and time stamps from the last to the first: each later one proves the earlier."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pyhanko.sign.validation import EmbeddedPdfSignature

from worker.signing.archive_check import NOT_ARCHIVED, check_archive
from worker.signing.fields import FIELD_TITLES
from worker.signing.report import SignatureReport, TimestampReport
from worker.signing.signature_check import Known, SignatureCheck, check_signature
from worker.signing.timestamp_check import TimestampCheck, check_document_timestamp
from worker.signing.trust import Trust


@dataclass(frozen=True, kw_only=True)
class History:
    """What was found, in the order of signing."""

    signatures: tuple[SignatureReport, ...]
    timestamps: tuple[TimestampReport, ...]
    problems: tuple[str, ...]
    is_covered_to_its_end: bool


def is_document_timestamp(one: EmbeddedPdfSignature) -> bool:
    """Tell a time stamp over the document from somebody's signature."""
    return str(one.sig_object_type) == "/DocTimeStamp"


def check_history(made: Sequence[EmbeddedPdfSignature], *, pdf: bytes, trust: Trust, now: datetime) -> History:
    """Check all of them; what comes before a good time stamp over the document is judged as of its time."""
    moment, following = now, None
    checks: list[SignatureCheck | TimestampCheck] = []
    for one in reversed(made):
        if is_document_timestamp(one):
            stamp = check_document_timestamp(one, pdf=pdf, trust=trust, moment=moment)
            if not stamp.problems:
                moment, following = stamp.report.stated_at, one
            checks.append(stamp)
        else:
            checks.append(_check_signature(one, pdf=pdf, trust=trust, moment=moment, following=following, now=now))
    checks.reverse()
    signatures = tuple(check.report for check in checks if isinstance(check, SignatureCheck))
    last = checks[-1]
    return History(
        signatures=signatures,
        timestamps=tuple(check.report for check in checks if isinstance(check, TimestampCheck)),
        problems=tuple(problem for check in checks for problem in check.problems),
        is_covered_to_its_end=last.covers_whole_file
        if isinstance(last, TimestampCheck)
        else last.report.covers_whole_file,
    )


def _check_signature(
    one: EmbeddedPdfSignature,
    *,
    pdf: bytes,
    trust: Trust,
    moment: datetime,
    following: EmbeddedPdfSignature | None,
    now: datetime,
) -> SignatureCheck:
    archive = NOT_ARCHIVED if following is None else check_archive(one, following=following, trust=trust, now=now)
    known = Known(moment=moment, is_proven=following is not None, is_archived=archive.is_archived)
    check = check_signature(one, pdf=pdf, trust=trust, known=known)
    if not archive.is_withdrawn:
        return check
    whose = FIELD_TITLES.get(one.field_name, one.field_name)
    problem = f"The signature of {whose} rests on a certificate that its issuer had withdrawn."
    return SignatureCheck(report=check.report, problems=(*check.problems, problem))
