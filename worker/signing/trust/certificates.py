"""What is read from a certificate, in one way for keys and reports: whose it is, and what it is meant for."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import TypeVar

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko_certvalidator.registry import SimpleCertificateStore

from worker.signing.errors import TrustUnreadableError

ExtensionT = TypeVar("ExtensionT", bound=x509.ExtensionType)
DEMONSTRATION_MARK = "DEMONSTRATION"
# RFC 9336, 3.1: id-kp-documentSigning.
DOCUMENT_SIGNING = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")
# An authority that is limited to other purposes than these does not vouch for signatures on documents.
_OF_SIGNERS = frozenset(
    {DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION, ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE}
)
_OF_SEALS = frozenset({DOCUMENT_SIGNING, ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE})

Trusted = x509.Certificate | bytes


def certificate_sha256(certificate: x509.Certificate) -> str:
    """Return the fingerprint by which a certificate is pinned."""
    return certificate.fingerprint(SHA256()).hex()


def name_of(certificate: x509.Certificate) -> str:
    """Return the name people know the holder by."""
    names = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    return str(names[0].value) if names else certificate.subject.rfc4514_string()


def is_demonstration(certificate: x509.Certificate) -> bool:
    """Tell whether a throwaway authority issued this certificate."""
    return any(DEMONSTRATION_MARK in name.rfc4514_string() for name in (certificate.subject, certificate.issuer))


def extension(certificate: x509.Certificate, kind: type[ExtensionT]) -> ExtensionT | None:
    """Return what an extension says; `None` where the certificate has none of this kind."""
    try:
        return certificate.extensions.get_extension_for_class(kind).value
    except x509.ExtensionNotFound:
        return None


def is_valid_at(certificate: x509.Certificate, moment: datetime) -> bool:
    """Tell whether a moment lies within a certificate's life."""
    return certificate.not_valid_before_utc <= moment <= certificate.not_valid_after_utc


def commits(certificate: x509.Certificate) -> bool:
    """Tell whether a certificate is meant for signatures that commit its holder."""
    usage = extension(certificate, x509.KeyUsage)
    return usage is not None and usage.content_commitment


def seals(certificate: x509.Certificate) -> bool:
    """Tell whether a certificate may seal documents: it commits its holder and names that purpose (RFC 9336)."""
    return commits(certificate) and DOCUMENT_SIGNING in (extension(certificate, x509.ExtendedKeyUsage) or ())


def unfit_authorities(path: Iterable[asn1_x509.Certificate], *, is_seal: bool) -> Iterator[str]:
    """Say which certificates above a signer's may not vouch for it.

    The validator looks at the purposes of the signer alone: without this an authority for web servers would do.
    """
    purposes = _OF_SEALS if is_seal else _OF_SIGNERS
    for one in map(from_asn1, path):
        usage, limited = extension(one, x509.KeyUsage), extension(one, x509.ExtendedKeyUsage)
        if usage is not None and not usage.key_cert_sign:
            yield f"{one.subject.rfc4514_string()} may not issue certificates"
        if limited is not None and purposes.isdisjoint(limited):
            yield f"{one.subject.rfc4514_string()} issues certificates for other purposes only"


def to_asn1(certificate: x509.Certificate) -> asn1_x509.Certificate:
    """Convert to the form the signing library takes."""
    return asn1_x509.Certificate.load(certificate.public_bytes(Encoding.DER))


def from_asn1(certificate: asn1_x509.Certificate) -> x509.Certificate:
    """Convert from the form the signing library gives."""
    return x509.load_der_x509_certificate(certificate.dump())


def store_of(chain: Iterable[x509.Certificate]) -> SimpleCertificateStore:
    """Return certificates that are sent along with a signature, as the signing library takes them."""
    store: SimpleCertificateStore = SimpleCertificateStore.from_certs(map(to_asn1, chain))  # type: ignore[no-untyped-call]
    return store


def read_trust(trust: Sequence[Trusted]) -> list[asn1_x509.Certificate]:
    """Read trusted certificates, each given as an object or as PEM text with one or more."""
    return [to_asn1(one) for item in trust for one in _certificates_in(item)]


def _certificates_in(item: Trusted) -> list[x509.Certificate]:
    try:
        return [item] if isinstance(item, x509.Certificate) else x509.load_pem_x509_certificates(item)
    except ValueError as error:
        raise TrustUnreadableError(f"The trusted certificates are not PEM text: {error}.") from error
