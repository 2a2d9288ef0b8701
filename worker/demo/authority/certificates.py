"""The certificates that a throwaway authority issues."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from worker.signing.trust.certificates import DEMONSTRATION_MARK, DOCUMENT_SIGNING

PublicKey = ec.EllipticCurvePublicKey | rsa.RSAPublicKey

LIFE = timedelta(days=365)
# Time stamps are there to outlive the keys that sign documents.
LIFE_OF_TIME = timedelta(days=3650)
# A receiver's clock may be behind ours.
CLOCK_MARGIN = timedelta(hours=1)


def make_root(key: ec.EllipticCurvePrivateKey, *, now: datetime) -> x509.Certificate:
    """Return the certificate that vouches for itself and issues the others."""
    # Each its own name: two roots of one name are one authority to whoever looks for an issuer.
    name = _name(f"root {x509.SubjectKeyIdentifier.from_public_key(key.public_key()).digest.hex()[:8]}")
    return (
        _builder(subject=name, issuer=name, public_key=key.public_key(), now=now, life=LIFE_OF_TIME)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(is_authority=True), critical=True)
        .sign(key, SHA256())
    )


class Purpose(NamedTuple):
    """What a certificate's key may do, and for how long."""

    life: timedelta
    uses: Sequence[x509.ObjectIdentifier]
    are_critical: bool = False


# Some validators know only emailProtection, so these certificates carry both.
SIGNING = Purpose(LIFE, [DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION])
# RFC 3161, 2.3: its purpose is critical and the only one.
STATING_TIME = Purpose(LIFE_OF_TIME, [ExtendedKeyUsageOID.TIME_STAMPING], are_critical=True)


def issue(
    public_key: PublicKey,
    *,
    role: str,
    root: x509.Certificate | None = None,
    issuer_key: ec.EllipticCurvePrivateKey,
    purpose: Purpose = SIGNING,
    revocation_url: str,
    now: datetime,
) -> x509.Certificate:
    """Return the certificate of a role, by a root's key, or by its own where there is no root."""
    name = _name(role)
    issuer = name if root is None else root.subject
    revocation = x509.DistributionPoint([x509.UniformResourceIdentifier(revocation_url)], None, None, None)
    return (
        _builder(subject=name, issuer=issuer, public_key=public_key, now=now, life=purpose.life)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key.public_key()), critical=False)
        .add_extension(x509.CRLDistributionPoints([revocation]), critical=False)
        .add_extension(_usage(is_authority=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage(purpose.uses), critical=purpose.are_critical)
        .sign(issuer_key, SHA256())
    )


def _builder(
    *, subject: x509.Name, issuer: x509.Name, public_key: PublicKey, now: datetime, life: timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public_key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCK_MARGIN)
        .not_valid_after(now + life)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public_key), critical=False)
    )


def _name(role: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, f"{DEMONSTRATION_MARK}, not for real use"),
            x509.NameAttribute(NameOID.COMMON_NAME, f"{DEMONSTRATION_MARK} {role}, not for real use"),
        ]
    )


def _usage(*, is_authority: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not is_authority,
        content_commitment=not is_authority,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=is_authority,
        crl_sign=is_authority,
        encipher_only=False,
        decipher_only=False,
    )
