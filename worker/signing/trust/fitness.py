"""Whether a certificate, and the authorities above it, are meant for what was done with it."""

from collections.abc import Iterable, Iterator

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID

from worker.signing.trust.certificates import extension, from_asn1

# RFC 9336, 3.1: id-kp-documentSigning.
DOCUMENT_SIGNING = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")
# An authority that is limited to other purposes than these does not vouch for signatures on documents.
_OF_SIGNERS = frozenset(
    {DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION, ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE}
)
_OF_SEALS = frozenset({DOCUMENT_SIGNING, ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE})


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
