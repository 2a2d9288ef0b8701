"""One signature into one document, at the time that is passed in."""

from collections.abc import Callable, Sequence
from datetime import datetime
from io import BytesIO

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.writer import BasePdfFileWriter
from pyhanko.sign.fields import SigFieldSpec
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.stamp import BaseStampStyle
from pyhanko_certvalidator.errors import PathError, ValidationError

from worker.signing.check.parsing import UNREADABLE
from worker.signing.errors import CertificateUnprovenError, DocumentUnsignableError
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.sealing import Sealing
from worker.signing.trust.certificates import Trusted

UNPROVEN = (PathError, ValidationError)
# What the library says of a document that takes no signature; any other error while we sign is a fault of ours.
UNSIGNABLE = (SigningError, PdfError)
_SAID_OF_IT = "A certificate that the signature was to rest on is not proven to hold"


def add_signature(
    pdf: bytes,
    *,
    metadata: PdfSignatureMetadata,
    key: SigningKey,
    signed_at: datetime,
    prepare: Callable[[IncrementalPdfFileWriter], None] | None = None,
    new_field: SigFieldSpec | None = None,
    stamp: BaseStampStyle | None = None,
    sealing: Sealing,
    trust: Sequence[Trusted] = (),
) -> bytes:
    """Append one signature as an incremental update, in a field that exists unless a new one is described.

    `trust` are the roots of whoever signed or stamped the document before.
    """
    key.require_valid_at(signed_at)
    writer, timestamper = open_to_sign(pdf), sealing.timestamper()
    try:
        completed = sealing.completed(
            metadata, pdf=pdf, key=key, timestamper=timestamper, trust=trust, signed_at=signed_at
        )
        signer = _SignerAt(completed, key.signer, timestamper=timestamper, stamp_style=stamp, new_field_spec=new_field)
        signer.signed_at = signed_at
        if prepare is not None:
            prepare(writer)
        signed: BytesIO = signer.sign_pdf(writer, existing_fields_only=new_field is None)
    except UNPROVEN as error:
        raise CertificateUnprovenError(f"{_SAID_OF_IT}: {error}") from error
    except UNSIGNABLE as error:
        unproven = next((one for one in (error.__cause__, *error.args) if isinstance(one, UNPROVEN)), None)
        if unproven is not None:
            raise CertificateUnprovenError(f"{_SAID_OF_IT}: {unproven}") from error
        raise DocumentUnsignableError(f"The document cannot be signed: {error}.") from error
    return signed.getvalue()


def open_to_sign(pdf: bytes) -> IncrementalPdfFileWriter:
    """Read a document so far as an update of it takes."""
    try:
        return IncrementalPdfFileWriter(BytesIO(pdf))
    except UNREADABLE as error:
        raise DocumentUnsignableError(f"The document cannot be read: {error}.") from error


class _SignerAt(PdfSigner):
    """The library's signer with its clock passed in: left alone, it claims the time of the machine."""

    signed_at: datetime

    def init_signing_session(self, pdf_out: BasePdfFileWriter, existing_fields_only: bool = False) -> PdfSigningSession:
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.signed_at
        return session
