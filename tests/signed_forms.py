"""Packages of either form, with any key in any place: nothing of our signer is used."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO

from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter, append_signature_field
from pyhanko.sign.signers import PdfSignatureMetadata, sign_pdf
from pyhanko.sign.timestamps import TimeStamper

from service.vocabulary.canonical import canonical_json
from tests.signed_documents import attach, make_document
from tests.signing_people import Signatory, make_signatory
from worker.signing.check.verify import verify
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, FORMS, OWN_KEY_FOLLOWS, SEAL_FIELD
from worker.signing.report import PackageReport
from worker.signing.trust.certificates import DOCUMENT_SIGNING
from worker.signing.trust.role_trust import RoleTrust

SEALING = (DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION)
BOXES = {CONTRACTOR_FIELD: (50, 60, 250, 120), ENGINEER_FIELD: (300, 60, 520, 120), DECISION_FIELD: (50, 130, 520, 180)}


@dataclass(frozen=True, kw_only=True)
class Cast:
    """Everybody who holds a key, and the authorities behind some of them."""

    service_authority: Signatory
    service: Signatory
    renewed: Signatory
    contractor_authority: Signatory
    engineer_authority: Signatory
    contractor: Signatory
    engineer: Signatory
    stranger: Signatory

    def trust(self, **changes: list[x509.Certificate]) -> RoleTrust:
        """Return whom a receiver trusts: the service by its authority, each person by their own certificate."""
        roles = {
            "service": [self.service_authority.certificate],
            "contractor": [self.contractor.certificate],
            "engineer": [self.engineer.certificate],
        }
        return RoleTrust(**(roles | changes))

    @property
    def of_authorities(self) -> RoleTrust:
        """Return whom a receiver trusts who knows the people by whoever issued their certificates."""
        return self.trust(
            contractor=[self.contractor_authority.certificate], engineer=[self.engineer_authority.certificate]
        )


def make_cast() -> Cast:
    """Make everybody: the people's certificates are fit for sealing as the service's own is."""
    service_authority = make_signatory("Seals authority", is_authority=True, usage=["key_cert_sign"])
    of_contractor = make_signatory("Contractor's authority", is_authority=True, usage=["key_cert_sign"])
    of_engineer = make_signatory("Owner's authority", is_authority=True, usage=["key_cert_sign"])
    return Cast(
        service_authority=service_authority,
        service=make_signatory("Seal", issuer=service_authority, purposes=SEALING),
        renewed=make_signatory("Seal", issuer=service_authority, purposes=SEALING),
        contractor_authority=of_contractor,
        engineer_authority=of_engineer,
        contractor=make_signatory("N. Quayle", issuer=of_contractor, purposes=SEALING),
        engineer=make_signatory("R. Ostrander", issuer=of_engineer, purposes=SEALING),
        stranger=make_signatory("S. Stranger", purposes=SEALING),
    )


def make_package(
    keys: Mapping[str, Signatory],
    *,
    form: int = 2,
    contractor_signs: bool = True,
    engineer_signs: bool = True,
    timestamper: TimeStamper | None = None,
) -> bytes:
    """Sign a package's fields by these keys, in the order in which they are named, the seal's first."""
    about = canonical_json({"contractor_signature": "own_key" if contractor_signs else "service_seal"})
    pdf = attach(make_document(), name="package.json", content=about)
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    for name in FORMS[form][1:]:
        append_signature_field(writer, SigFieldSpec(name, box=BOXES[name], empty_field_appearance=False))
    append_signature_field(writer, SigFieldSpec(SEAL_FIELD))
    output = BytesIO()
    writer.write(output)  # type: ignore[no-untyped-call]
    pdf = output.getvalue()
    for field, signatory in keys.items():
        reason = f"Decided. {OWN_KEY_FOLLOWS}" if field == DECISION_FIELD and engineer_signs else "Done."
        pdf = sign_field(pdf, field=field, by=signatory, reason=reason, timestamper=timestamper)
    return pdf


def sign_field(
    pdf: bytes, *, field: str, by: Signatory, reason: str = "Done.", timestamper: TimeStamper | None = None
) -> bytes:
    """Sign one field as it should be, the seal certifying."""
    is_seal = field == SEAL_FIELD
    metadata = PdfSignatureMetadata(
        field_name=field,
        subfilter=SigSeedSubFilter.PADES,
        md_algorithm="sha256",
        reason=reason,
        certify=is_seal,
        docmdp_permissions=MDPPerm.FILL_FORMS,
    )
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    signed: BytesIO = sign_pdf(writer, metadata, by.signer, timestamper=timestamper, existing_fields_only=True)
    return signed.getvalue()


def judge(pdf: bytes, trust: RoleTrust) -> PackageReport:
    """Verify as of now."""
    return verify(pdf, trust=trust, now=datetime.now(UTC))
