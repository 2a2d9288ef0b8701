"""The service's time stamp over a document that somebody else signed (EN 319 142-1, from memory)."""

from datetime import datetime

from pyhanko.sign.signers import PdfTimeStamper

from worker.signing.errors import DocumentUnsignableError
from worker.signing.make.pdf_signer import UNSIGNABLE, open_to_sign, read_back
from worker.signing.make.sealing import DIGEST, Authorities
from worker.signing.make.timestamps import CheckedTimeStamper
from worker.signing.report import Signed
from worker.signing.trust.role_trust import RoleTrust


def stamp_document(pdf: bytes, *, authorities: Authorities, trust: RoleTrust, now: datetime) -> Signed:
    """Append a time stamp over a good document, and read the result back as a receiver would."""
    stamper = PdfTimeStamper(CheckedTimeStamper(authorities.ask_time))
    writer = open_to_sign(pdf)
    try:
        stamped: bytes = stamper.timestamp_pdf(writer, DIGEST).getvalue()
    except UNSIGNABLE as error:
        raise DocumentUnsignableError(f"The document cannot be stamped: {error}.") from error
    return read_back(stamped, made_of=pdf, trust=trust.and_for_time(authorities.trust), now=now)
