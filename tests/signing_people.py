"""People with keys of their own, and documents signed with them as any tool would: nothing of our signer is used."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
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
    issuers: tuple[x509.Certificate, ...] = ()

    def with_issuers(self, *issuers: "Signatory") -> "Signatory":
        """Return the same holder, who sends the issuers' certificates along with each signature."""
        return replace(self, issuers=tuple(one.certificate for one in issuers))

    @property
    def pem(self) -> str:
        return self.certificate.public_bytes(Encoding.PEM).decode()

    @property
    def fingerprint(self) -> str:
        return sha256_hex(self.certificate.public_bytes(Encoding.DER))

    @property
    def signer(self) -> SimpleSigner:
        return self.signer_beside(())

    def signer_beside(self, beside: Sequence["Signatory"]) -> SimpleSigner:
        """Return what signs, and embeds the certificates of others beside its own."""
        private = self.key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        chain = (self.certificate, *self.issuers, *(one.certificate for one in beside))
        certificate, *others = (asn1_x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in chain)
        store = SimpleCertificateStore.from_certs([certificate, *others])  # type: ignore[no-untyped-call]
        return SimpleSigner(certificate, PrivateKeyInfo.load(private), store)


def make_signatory(
    name: str = "R. Ostrander",
    *,
    issuer: Signatory | None = None,
    usage: Collection[str] | None = SIGNING,
    purposes: Collection[x509.ObjectIdentifier] = (),
    is_authority: bool = False,
    valid_from: datetime | None = None,
    valid_until: datetime | None = None,
    key: Key | None = None,
    also: x509.ExtensionType | None = None,
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
    for extension in (x509.ExtendedKeyUsage(purposes) if purposes else None, also):
        builder = builder if extension is None else builder.add_extension(extension, critical=False)
    return Signatory(certificate=builder.sign(own if issuer is None else issuer.key, SHA256()), key=own)


def sign_as(
    signatory: Signatory,
    pdf: bytes,
    *,
    field: str,
    subfilter: SigSeedSubFilter = SigSeedSubFilter.PADES,
    is_new_field: bool = False,
    beside: Sequence[Signatory] = (),
) -> bytes:
    """Sign a field with a person's own key."""
    metadata = PdfSignatureMetadata(field_name=field, subfilter=subfilter, md_algorithm="sha256", reason="Seen")
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    signer = signatory.signer_beside(beside)
    signed: BytesIO = sign_pdf(writer, metadata, signer, existing_fields_only=not is_new_field)
    return signed.getvalue()


def sign_among_lookalikes(pdf: bytes, *, field: str) -> bytes:
    """Sign with certificates of one name beside, each of which may have issued each: so many ways lead nowhere."""
    usage = ("key_cert_sign", *SIGNING)
    crowd = [make_signatory("Lookalike", is_authority=True, usage=usage) for _ in range(16)]
    return sign_as(make_signatory(issuer=crowd[0]), pdf, field=field, beside=crowd)
