"""People with keys of their own, and documents signed with them as any tool would: nothing of our signer is used."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO

from asn1crypto import x509 as asn1_x509
from asn1crypto.keys import PrivateKeyInfo
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, SimpleSigner, sign_pdf
from pyhanko_certvalidator.registry import SimpleCertificateStore

from service.vocabulary.canonical import sha256_hex

_USAGES = (
    *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement"),
    *("key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
)
SIGNING = ("digital_signature", "content_commitment")
Key = ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey


@dataclass(frozen=True, kw_only=True)
class Signatory:
    """Somebody's key and certificate."""

    certificate: x509.Certificate
    key: Key

    @property
    def pem(self) -> str:
        return self.certificate.public_bytes(Encoding.PEM).decode()

    @property
    def fingerprint(self) -> str:
        return sha256_hex(self.certificate.public_bytes(Encoding.DER))

    @property
    def signer(self) -> SimpleSigner:
        private = self.key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        certificate = asn1_x509.Certificate.load(self.certificate.public_bytes(Encoding.DER))
        store = SimpleCertificateStore.from_certs([certificate])  # type: ignore[no-untyped-call]
        return SimpleSigner(certificate, PrivateKeyInfo.load(private), store)


def make_signatory(
    name: str = "R. Ostrander",
    *,
    issuer: Signatory | None = None,
    usage: Collection[str] | None = SIGNING,
    is_authority: bool = False,
    valid_from: datetime | None = None,
    valid_until: datetime | None = None,
    key: Key | None = None,
) -> Signatory:
    """Make a key and its certificate, signed by itself or by an issuer, good for a month from yesterday."""
    own, now = key or ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject if issuer is None else issuer.certificate.subject)
        .public_key(own.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(valid_from or now - timedelta(days=1))
        .not_valid_after(valid_until or now + timedelta(days=30))
        .add_extension(x509.BasicConstraints(ca=is_authority, path_length=None), critical=True)
    )
    if usage is not None:
        builder = builder.add_extension(x509.KeyUsage(**{one: one in usage for one in _USAGES}), critical=True)
    return Signatory(certificate=builder.sign(own if issuer is None else issuer.key, SHA256()), key=own)


def sign_as(
    signatory: Signatory,
    pdf: bytes,
    *,
    field: str,
    subfilter: SigSeedSubFilter = SigSeedSubFilter.PADES,
    is_new_field: bool = False,
) -> bytes:
    """Sign a field with a person's own key."""
    metadata = PdfSignatureMetadata(field_name=field, subfilter=subfilter, md_algorithm="sha256", reason="Seen")
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    signed: BytesIO = sign_pdf(writer, metadata, signatory.signer, existing_fields_only=not is_new_field)
    return signed.getvalue()
