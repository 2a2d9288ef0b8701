"""A person's signing certificate, as it is registered: what it says, and whether it may sign documents."""

from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding

ExtensionT = TypeVar("ExtensionT", bound=x509.ExtensionType)
_LONGEST_SUBJECT = 500
_SHORTEST_RSA_BITS = 2048


class CertificateUnfitError(ValueError):
    """The text holds no certificate that a person can sign packages with."""


@dataclass(frozen=True, kw_only=True)
class SigningCertificate:
    """What is kept of a certificate; `sha256` over its DER form is the fingerprint by which it is known."""

    sha256: str
    subject: str
    valid_from: datetime
    valid_until: datetime
    pem: str


def read_certificate(text: str, *, now: datetime) -> SigningCertificate:
    """Return the one certificate in PEM text, refused unless it may sign documents now."""
    if "PRIVATE KEY" in text:
        raise CertificateUnfitError(
            "holds a private key, which nobody may have but its owner: replace that key, and send a certificate alone"
        )
    certificate = _only_one(text)
    try:
        _refuse_unfit(certificate, now=now)
        subject = certificate.subject.rfc4514_string()
    except (ValueError, UnsupportedAlgorithm) as error:
        if isinstance(error, CertificateUnfitError):
            raise
        raise CertificateUnfitError("is a certificate that cannot be read") from error
    return SigningCertificate(
        sha256=certificate.fingerprint(SHA256()).hex(),
        subject="".join(c if c.isprintable() else "\ufffd" for c in subject)[:_LONGEST_SUBJECT],
        valid_from=certificate.not_valid_before_utc,
        valid_until=certificate.not_valid_after_utc,
        pem=certificate.public_bytes(Encoding.PEM).decode(),
    )


def _only_one(text: str) -> x509.Certificate:
    try:
        found = x509.load_pem_x509_certificates(text.encode())
    except ValueError as error:
        raise CertificateUnfitError("is not a certificate in PEM text") from error
    if len(found) > 1:
        raise CertificateUnfitError("holds several certificates: send the person's own, without its issuers'")
    return found[0]


def _refuse_unfit(certificate: x509.Certificate, *, now: datetime) -> None:
    if not certificate.not_valid_before_utc <= now <= certificate.not_valid_after_utc:
        raise CertificateUnfitError("is not valid now")
    constraints = _extension(certificate, x509.BasicConstraints)
    if constraints is not None and constraints.ca:
        raise CertificateUnfitError("is an authority's certificate, not a person's")
    # Without it no signature of this certificate would be taken later.
    usage = _extension(certificate, x509.KeyUsage)
    if usage is None or not usage.content_commitment:
        raise CertificateUnfitError("lacks the key usage contentCommitment (nonRepudiation) for signing documents")
    key = certificate.public_key()
    if isinstance(key, RSAPublicKey) and key.key_size < _SHORTEST_RSA_BITS:
        raise CertificateUnfitError(f"has an RSA key of less than {_SHORTEST_RSA_BITS} bits")


def _extension(certificate: x509.Certificate, kind: type[ExtensionT]) -> ExtensionT | None:
    try:
        return certificate.extensions.get_extension_for_class(kind).value
    except x509.ExtensionNotFound:
        return None
