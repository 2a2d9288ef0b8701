"""The service's time stamp over a document that somebody else signed (EN 319 142-1, from memory)."""

from dataclasses import replace
from datetime import datetime

from pyhanko.sign.signers import PdfTimeStamper

from worker.signing.check.verify import verify
from worker.signing.errors import DocumentUnsignableError, OwnSignatureError
from worker.signing.make.pdf_signer import UNSIGNABLE, open_to_sign
from worker.signing.make.sealing import DIGEST, Authorities
from worker.signing.make.timestamps import CheckedTimeStamper
from worker.signing.report import Signed
from worker.signing.trust.role_trust import RoleTrust


def stamp_document(
    pdf: bytes,
    *,
    authorities: Authorities,
    trust: RoleTrust,
    now: datetime,
) -> Signed:
    """Append a time stamp over a good document, and read the result back as a receiver would."""
    stamper = PdfTimeStamper(CheckedTimeStamper(authorities.ask_time))
    writer = open_to_sign(pdf)
    try:
        stamped: bytes = stamper.timestamp_pdf(writer, DIGEST).getvalue()
    except UNSIGNABLE as error:
        raise DocumentUnsignableError(f"The document cannot be stamped: {error}.") from error
    trusted = replace(trust, time=[*authorities.trust, *(trust.time or ())] or None)
    report = verify(stamped, trust=trusted, now=now)
    problems = list(report.problems)
    if not stamped.startswith(pdf):
        problems.append("The time stamp changed what was signed before.")
    if problems:
        raise OwnSignatureError(problems)
    return Signed(stamped, report)
