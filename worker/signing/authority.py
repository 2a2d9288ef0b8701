"""A throwaway authority for demonstrations and tests: its signatures prove nothing about anybody."""

import os
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PrivateFormat, pkcs12
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from worker.signing.certificates import DEMONSTRATION_MARK
from worker.signing.errors import AuthorityExistsError
from worker.signing.keys import SigningKey, signing_key_of

LIFE = timedelta(days=365)
# A receiver's clock may be behind ours.
CLOCK_MARGIN = timedelta(hours=1)
# The library's plain PKCS#8 encryption stops at 2048 rounds.
KEY_DERIVATION_ROUNDS = 600_000
# RFC 9336; some validators know only emailProtection, so the certificate carries both.
DOCUMENT_SIGNING = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")
# pdfsig finds fault with a certificate that names no place to ask for revocation; RFC 2606 keeps this one unreachable.
REVOCATION_LIST_URL = "http://revocation.invalid/demonstration.crl"


@dataclass(frozen=True, kw_only=True)
class DemonstrationAuthority:
    """The files of a throwaway authority."""

    root_file: Path
    pkcs12_file: Path
    passphrase_file: Path
    root: x509.Certificate


def make_demonstration_authority(folder: Path, *, now: datetime) -> DemonstrationAuthority:
    """Make a root and a seal, and write root.pem, seal.p12 and seal.passphrase into the folder."""
    root_key, seal_key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    root = _root_certificate(root_key, now=now)
    seal = _signing_certificate(
        seal_key.public_key(), subject=_name("seal"), issuer=root.subject, issuer_key=root_key, now=now
    )
    passphrase = secrets.token_urlsafe(32).encode()
    authority = DemonstrationAuthority(
        root_file=folder / "root.pem",
        pkcs12_file=folder / "seal.p12",
        passphrase_file=folder / "seal.passphrase",
        root=root,
    )
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write_new(authority.root_file, root.public_bytes(Encoding.PEM), mode=0o444)
    _write_new(authority.pkcs12_file, _pkcs12(seal_key, seal=seal, root=root, passphrase=passphrase), mode=0o400)
    _write_new(authority.passphrase_file, passphrase, mode=0o400)
    return authority


def make_demonstration_person(role: str, *, now: datetime) -> SigningKey:
    """Make a person's throwaway key, known by its certificate alone: nobody else issued it."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(role)
    certificate = _signing_certificate(key.public_key(), subject=name, issuer=name, issuer_key=key, now=now)
    return signing_key_of(certificate, key)


def _root_certificate(key: ec.EllipticCurvePrivateKey, *, now: datetime) -> x509.Certificate:
    name = _name("root")
    identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    return (
        _builder(subject=name, issuer=name, public_key=key.public_key(), now=now)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(is_authority=True), critical=True)
        .add_extension(identifier, critical=False)
        .sign(key, SHA256())
    )


def _signing_certificate(
    public_key: ec.EllipticCurvePublicKey,
    *,
    subject: x509.Name,
    issuer: x509.Name,
    issuer_key: ec.EllipticCurvePrivateKey,
    now: datetime,
) -> x509.Certificate:
    purposes = [DOCUMENT_SIGNING, ExtendedKeyUsageOID.EMAIL_PROTECTION]
    revocation = x509.DistributionPoint([x509.UniformResourceIdentifier(REVOCATION_LIST_URL)], None, None, None)
    return (
        _builder(subject=subject, issuer=issuer, public_key=public_key, now=now)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(is_authority=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage(purposes), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public_key), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key.public_key()), critical=False)
        .add_extension(x509.CRLDistributionPoints([revocation]), critical=False)
        .sign(issuer_key, SHA256())
    )


def _builder(
    *, subject: x509.Name, issuer: x509.Name, public_key: ec.EllipticCurvePublicKey, now: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public_key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCK_MARGIN)
        .not_valid_after(now + LIFE)
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


def _pkcs12(
    key: ec.EllipticCurvePrivateKey, *, seal: x509.Certificate, root: x509.Certificate, passphrase: bytes
) -> bytes:
    encryption = (
        PrivateFormat.PKCS12.encryption_builder()
        .kdf_rounds(KEY_DERIVATION_ROUNDS)
        .key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
        .hmac_hash(SHA256())
        .build(passphrase)
    )
    return pkcs12.serialize_key_and_certificates(b"seal", key, seal, [root], encryption)


def _write_new(file: Path, content: bytes, *, mode: int) -> None:
    try:
        # Created with its final mode: there is no moment at which others may read it.
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    except FileExistsError as error:
        raise AuthorityExistsError(file) from error
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
