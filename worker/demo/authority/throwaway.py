"""Make a throwaway authority and its people: their signatures prove nothing about anybody."""

import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PrivateFormat, pkcs12

from worker.demo import DemoNotPossibleError
from worker.demo.authority.certificates import STATING_TIME, issue, make_root
from worker.signing.keys.signing_key import SigningKey, signing_key_of

# The library's plain PKCS#8 encryption stops at 2048 rounds.
KEY_DERIVATION_ROUNDS = 600_000
LIFE_OF_REVOCATION_LIST = timedelta(days=7)
# pdfsig finds fault with a certificate that names no place to ask for revocation; RFC 2606 keeps this one unreachable.
REVOCATION_LIST_URL = "http://revocation.invalid/demonstration.crl"


class AuthorityExistsError(DemoNotPossibleError):
    """A demonstration authority is already in this folder."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"{file} exists already. Use that authority, or choose an empty folder.")


@dataclass(frozen=True, kw_only=True)
class DemonstrationAuthority:
    """The files of a throwaway authority, and what it states the time with."""

    root_file: Path
    pkcs12_file: Path
    passphrase_file: Path
    root: x509.Certificate
    root_key: ec.EllipticCurvePrivateKey = field(repr=False)
    time_certificate: x509.Certificate
    time_key: ec.EllipticCurvePrivateKey = field(repr=False)

    def revocation_list(self, *, now: datetime, revoked: Sequence[x509.Certificate] = ()) -> bytes:
        """Return the list of what it takes back, as it stands now."""
        builder = (
            x509.CertificateRevocationListBuilder()
            .issuer_name(self.root.subject)
            .last_update(now)
            .next_update(now + LIFE_OF_REVOCATION_LIST)
            .add_extension(x509.CRLNumber(int(now.timestamp())), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self.root_key.public_key()), critical=False
            )
        )
        for certificate in revoked:
            entry = x509.RevokedCertificateBuilder().serial_number(certificate.serial_number).revocation_date(now)
            builder = builder.add_revoked_certificate(entry.build())
        return builder.sign(self.root_key, SHA256()).public_bytes(Encoding.DER)


def make_demonstration_authority(
    folder: Path, *, now: datetime, revocation_url: str = REVOCATION_LIST_URL
) -> DemonstrationAuthority:
    """Make a root and a seal, and write root.pem, seal.p12 and seal.passphrase into the folder."""
    root_key, seal_key, time_key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(3))
    root = make_root(root_key, now=now)
    issue_here = partial(issue, root=root, issuer_key=root_key, revocation_url=revocation_url, now=now)
    seal = issue_here(seal_key.public_key(), role="seal")
    passphrase = secrets.token_urlsafe(32).encode()
    authority = DemonstrationAuthority(
        root_file=folder / "root.pem",
        pkcs12_file=folder / "seal.p12",
        passphrase_file=folder / "seal.passphrase",
        root=root,
        root_key=root_key,
        time_certificate=issue_here(time_key.public_key(), role="time", purpose=STATING_TIME),
        time_key=time_key,
    )
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write_new(authority.root_file, root.public_bytes(Encoding.PEM), mode=0o444)
    _write_new(authority.pkcs12_file, _pkcs12(seal_key, seal=seal, root=root, passphrase=passphrase), mode=0o400)
    _write_new(authority.passphrase_file, passphrase, mode=0o400)
    return authority


def make_demonstration_person(role: str, *, now: datetime) -> SigningKey:
    """Make a person's throwaway key, known by its certificate alone: nobody else issued it."""
    key = ec.generate_private_key(ec.SECP256R1())
    own = issue(key.public_key(), role=role, issuer_key=key, revocation_url=REVOCATION_LIST_URL, now=now)
    return signing_key_of(own, key)


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
