"""The first signature: the service's seal over the whole package, after which only signatures may follow."""

from collections.abc import Mapping
from datetime import datetime

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, append_signature_field

from service.vocabulary.signatures import SignaturePlace
from worker.signing.fields import RESERVED, SEAL_FIELD, title_of
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.pdf_signer import add_signature
from worker.signing.make.sealing import ALONE, Sealing
from worker.signing.report import Signed
from worker.signing.trust.role_trust import NOBODY

# Left, bottom, right, top, in points from a page's lower left corner.
Box = tuple[int, int, int, int]


def certify(
    pdf: bytes,
    *,
    key: SigningKey,
    signed_at: datetime,
    reason: str,
    boxes: Mapping[SignaturePlace, Box],
    page: int = 1,
    sealing: Sealing = ALONE,
) -> Signed:
    """Reserve the other fields, seal the document, and read it back as a receiver would before letting it out.

    The other fields are reserved in boxes on a page, counted from 1.
    """

    def reserve_fields(writer: IncrementalPdfFileWriter) -> None:
        # Before the seal: validators differ on fields that appear after it.
        for place, name in RESERVED.items():
            field = SigFieldSpec(name, on_page=page - 1, box=boxes[place], readable_field_name=title_of(name))
            append_signature_field(writer, field)

    return add_signature(
        pdf,
        field=SEAL_FIELD,
        key=key,
        signed_at=signed_at,
        reason=reason,
        reserve_fields=reserve_fields,
        sealing=sealing,
        trust=NOBODY,
    )
