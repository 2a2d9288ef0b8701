"""One signature or time stamp into one document, at the time passed in, let out only if it reads back as good."""

from collections.abc import Callable, Iterable
from datetime import datetime
from io import BytesIO

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.writer import BasePdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, PdfTimeStamper
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.stamp import BaseStampStyle
from pyhanko_certvalidator.errors import PathError, ValidationError

from worker.signing.check.parsing import UNREADABLE
from worker.signing.check.verify import verify
from worker.signing.errors import CertificateUnprovenError, DocumentUnsignableError, OwnSignatureError
from worker.signing.fields import SEAL_FIELD, title_of
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.sealing import DIGEST, Authorities, Sealing
from worker.signing.make.timestamps import CheckedTimeStamper
from worker.signing.report import Signed
from worker.signing.trust.role_trust import RoleTrust

UNPROVEN = (PathError, ValidationError)
# What the library says of a document that takes no signature; any other error while we sign is a fault of ours.
UNSIGNABLE = (SigningError, PdfError)


def add_signature(
    pdf: bytes,
    *,
    field: str,
    key: SigningKey,
    signed_at: datetime,
    reason: str,
    reserve_fields: Callable[[IncrementalPdfFileWriter], None] | None = None,
    stamp: BaseStampStyle | None = None,
    sealing: Sealing,
    trust: RoleTrust,
) -> Signed:
    """Append one signature as an incremental update, in a field that was reserved.

    The one that reserves the others' fields makes its own, and certifies the document. `trust` is whom to trust for
    the signatures and time stamps that are there already.
    """
    key.require_valid_at(signed_at)
    certifies = reserve_fields is not None
    writer, timestamper = _open_to_sign(pdf), sealing.timestamper()
    metadata = PdfSignatureMetadata(
        field_name=field,
        subfilter=SigSeedSubFilter.PADES,
        certify=certifies,
        # Stricter than this and nobody could countersign (ISO 32000-1, table 254, from memory: 2 lets forms be signed).
        docmdp_permissions=MDPPerm.FILL_FORMS,
        md_algorithm=DIGEST,
        reason=reason,
    )
    try:
        metadata = sealing.completed(
            metadata, pdf=pdf, key=key, timestamper=timestamper, trust=trust.everybody, signed_at=signed_at
        )
        new_field = SigFieldSpec(SEAL_FIELD, readable_field_name=title_of(SEAL_FIELD)) if certifies else None
        signer = _SignerAt(metadata, key.signer, timestamper=timestamper, stamp_style=stamp, new_field_spec=new_field)
        signer.signed_at = signed_at
        if reserve_fields is not None:
            reserve_fields(writer)
        signed: BytesIO = signer.sign_pdf(writer, existing_fields_only=not certifies)
    except (*UNPROVEN, *UNSIGNABLE) as error:
        unproven = next((one for one in (error, error.__cause__, *error.args) if isinstance(one, UNPROVEN)), None)
        if unproven is None:
            raise DocumentUnsignableError(f"The document cannot be signed: {error}.") from error
        raise CertificateUnprovenError(
            f"A certificate that the signature was to rest on is not proven to hold: {unproven}"
        ) from error
    trusted = trusting_own(trust, key=key, field=field, sealing=sealing)
    made = _read_back(signed.getvalue(), made_of=pdf, trust=trusted, now=signed_at)
    _refuse(sealing.shortfalls(made.report, field=field))
    return made


def _read_back(pdf: bytes, *, made_of: bytes, trust: RoleTrust, now: datetime) -> Signed:
    """Judge what we just made as a receiver would, and refuse to let it out unless it is good."""
    report = verify(pdf, trust=trust, now=now)
    _refuse(report.problems)
    _refuse(() if pdf.startswith(made_of) else ["Signing changed what was there before."])
    return Signed(pdf, report)


def _refuse(problems: Iterable[str]) -> None:
    if found := [*problems]:
        raise OwnSignatureError(found)


def stamp_document(pdf: bytes, *, authorities: Authorities, trust: RoleTrust, now: datetime) -> Signed:
    """Append a time stamp over a good document, signed by somebody else (EN 319 142-1, from memory)."""
    stamper = PdfTimeStamper(CheckedTimeStamper(authorities.ask_time))
    writer = _open_to_sign(pdf)
    try:
        stamped: bytes = stamper.timestamp_pdf(writer, DIGEST).getvalue()
    except UNSIGNABLE as error:
        raise DocumentUnsignableError(f"The document cannot be stamped: {error}.") from error
    return _read_back(stamped, made_of=pdf, trust=trust.and_for_time(authorities.trust), now=now)


def _open_to_sign(pdf: bytes) -> IncrementalPdfFileWriter:
    """Read a document so far as an update of it takes."""
    try:
        return IncrementalPdfFileWriter(BytesIO(pdf))
    except UNREADABLE as error:
        raise DocumentUnsignableError(f"The document cannot be read: {error}.") from error


def trusting_own(trust: RoleTrust, *, key: SigningKey, field: str, sealing: Sealing) -> RoleTrust:
    """Return whom a reader trusts who knows this key as well: in its own place, and as the service's."""
    return trust.and_in(SEAL_FIELD, key.anchors).and_in(field, key.anchors).and_for_time(sealing.time_trust)


class _SignerAt(PdfSigner):
    """The library's signer with its clock passed in: left alone, it claims the time of the machine."""

    signed_at: datetime

    def init_signing_session(self, pdf_out: BasePdfFileWriter, existing_fields_only: bool = False) -> PdfSigningSession:
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.signed_at
        return session
