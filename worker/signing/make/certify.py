"""The first signature: the service's seal over the whole package, after which only signatures may follow."""

from datetime import datetime

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, append_signature_field

from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD, SignatureBoxes, title_of
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.pdf_signer import add_signature
from worker.signing.make.sealing import ALONE, Sealing
from worker.signing.report import Signed
from worker.signing.trust.role_trust import NOBODY


def certify(
    pdf: bytes,
    *,
    key: SigningKey,
    signed_at: datetime,
    reason: str,
    boxes: SignatureBoxes,
    sealing: Sealing = ALONE,
) -> Signed:
    """Reserve the other fields, seal the document, and read it back as a receiver would before letting it out."""

    def reserve_fields(writer: IncrementalPdfFileWriter) -> None:
        # Before the seal: validators differ on fields that appear after it.
        for name, box in (
            (CONTRACTOR_FIELD, boxes.contractor_responsible),
            (DECISION_FIELD, boxes.decision),
            (ENGINEER_FIELD, boxes.owner_engineer),
        ):
            place = SigFieldSpec(name, on_page=boxes.page - 1, box=box, readable_field_name=title_of(name))
            append_signature_field(writer, place)

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
