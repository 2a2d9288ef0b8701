"""What is read from a certificate, in one way for keys and reports."""

from collections.abc import Sequence
from datetime import datetime
from typing import TypeVar

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import NameOID

from worker.signing.errors import TrustUnreadableError

ExtensionT = TypeVar("ExtensionT", bound=x509.ExtensionType)
DEMONSTRATION_MARK = "DEMONSTRATION"

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


def to_asn1(certificate: x509.Certificate) -> asn1_x509.Certificate:
    """Convert to the form the signing library takes."""
    return asn1_x509.Certificate.load(certificate.public_bytes(Encoding.DER))


def from_asn1(certificate: asn1_x509.Certificate) -> x509.Certificate:
    """Convert from the form the signing library gives."""
    return x509.load_der_x509_certificate(certificate.dump())


def read_trust(trust: Sequence[Trusted]) -> list[asn1_x509.Certificate]:
    """Read trusted certificates, each given as an object or as PEM text with one or more."""
    found: list[asn1_x509.Certificate] = []
    for item in trust:
        found.extend([to_asn1(item)] if isinstance(item, x509.Certificate) else _read_pem(item))
    return found


def _read_pem(text: bytes) -> list[asn1_x509.Certificate]:
    try:
        return [to_asn1(certificate) for certificate in x509.load_pem_x509_certificates(text)]
    except ValueError as error:
        raise TrustUnreadableError(f"The trusted certificates are not PEM text: {error}.") from error
