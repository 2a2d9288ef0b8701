"""The first signature: the service's seal over the whole package, after which only signatures may follow."""

from datetime import datetime

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter, append_signature_field
from pyhanko.sign.signers import PdfSignatureMetadata

from worker.signing.check.verify import verify
from worker.signing.errors import OwnSignatureError
from worker.signing.fields import (
    CONTRACTOR_FIELD,
    DECISION_FIELD,
    ENGINEER_FIELD,
    FIELD_TITLES,
    SEAL_FIELD,
    SignatureBoxes,
)
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.pdf_signer import add_signature
from worker.signing.make.sealing import ALONE, Sealing
from worker.signing.report import Signed
from worker.signing.trust.role_trust import RoleTrust


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
    metadata = PdfSignatureMetadata(
        field_name=SEAL_FIELD,
        subfilter=SigSeedSubFilter.PADES,
        certify=True,
        # Stricter than this and nobody could countersign.
        docmdp_permissions=MDPPerm.FILL_FORMS,
        md_algorithm="sha256",
        reason=reason,
    )

    def reserve_fields(writer: IncrementalPdfFileWriter) -> None:
        # Before the seal: validators differ on fields that appear after it.
        for name, box in (
            (CONTRACTOR_FIELD, boxes.contractor_responsible),
            (DECISION_FIELD, boxes.decision),
            (ENGINEER_FIELD, boxes.owner_engineer),
        ):
            place = SigFieldSpec(name, on_page=boxes.page - 1, box=box, readable_field_name=FIELD_TITLES[name])
            append_signature_field(writer, place)

    certified = add_signature(
        pdf,
        metadata=metadata,
        key=key,
        signed_at=signed_at,
        prepare=reserve_fields,
        new_field=SigFieldSpec(SEAL_FIELD, readable_field_name=FIELD_TITLES[SEAL_FIELD]),
        sealing=sealing,
    )
    trust = RoleTrust(service=key.anchors, time=sealing.time_trust or None)
    report = verify(certified, trust=trust, now=signed_at)
    problems = [*report.problems, *sealing.shortfalls(report)]
    if problems:
        raise OwnSignatureError(problems)
    return Signed(certified, report)
