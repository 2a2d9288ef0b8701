"""Go through a document's signatures and time stamps from the last to the first: each later one proves the earlier."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pyhanko.sign.validation import EmbeddedPdfSignature

from worker.signing.check.archive import NOT_ARCHIVED, check_archive
from worker.signing.check.signature import Known, SignatureCheck, check_signature
from worker.signing.check.timestamp import TimestampCheck, check_document_timestamp
from worker.signing.report import SignatureReport, TimestampReport
from worker.signing.trust.role_trust import Trust
from worker.signing.trust.roles import Place, confusions, place_of


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


def check_history(
    made: Sequence[EmbeddedPdfSignature], *, form: int, pdf: bytes, trust: Trust, now: datetime
) -> History:
    """Check all of them; what comes before a good time stamp over the document is judged as of its time."""
    places = _places(made, form=form)
    moment, following = now, None
    checks: list[SignatureCheck | TimestampCheck] = []
    for one in reversed(made):
        place = places.get(one.field_name)
        if place is None:
            stamp = check_document_timestamp(one, pdf=pdf, trust=trust, moment=moment)
            if not stamp.problems:
                moment, following = stamp.report.stated_at, one
            checks.append(stamp)
        else:
            checks.append(
                _check_signature(one, place=place, pdf=pdf, trust=trust, moment=moment, following=following, now=now)
            )
    checks.reverse()
    signatures = tuple(check.report for check in checks if isinstance(check, SignatureCheck))
    last = checks[-1]
    return History(
        signatures=signatures,
        timestamps=tuple(check.report for check in checks if isinstance(check, TimestampCheck)),
        problems=(*confusions([*places.values()], trust), *(problem for check in checks for problem in check.problems)),
        is_covered_to_its_end=last.covers_whole_file
        if isinstance(last, TimestampCheck)
        else last.report.covers_whole_file,
    )


def _places(made: Sequence[EmbeddedPdfSignature], *, form: int) -> dict[str, Place]:
    """Return in whose name each signature stands, by its field."""
    signed = [one for one in made if not is_document_timestamp(one)]
    seal = signed[0].signer_cert
    return {one.field_name: place_of(str(one.field_name), one.signer_cert, form=form, seal=seal) for one in signed}


def _check_signature(
    one: EmbeddedPdfSignature,
    *,
    place: Place,
    pdf: bytes,
    trust: Trust,
    moment: datetime,
    following: EmbeddedPdfSignature | None,
    now: datetime,
) -> SignatureCheck:
    archive = NOT_ARCHIVED
    if following is not None:
        archive = check_archive(one, place=place, following=following, trust=trust, now=now)
    known = Known(moment=moment, is_proven=following is not None, is_archived=archive.is_archived)
    check = check_signature(one, place=place, pdf=pdf, trust=trust, known=known)
    if not archive.is_withdrawn:
        return check
    problem = f"The signature of {place.title} rests on a certificate that its issuer had withdrawn."
    return SignatureCheck(report=check.report, problems=(*check.problems, problem))
