"""The key the service signs with; here as it comes from a PKCS#12 file, in `security_module` from there."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from asn1crypto import pkcs12 as asn1_pkcs12
from asn1crypto.keys import PrivateKeyInfo
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.types import PrivateKeyTypes
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, pkcs12
from pyhanko.sign.signers import Signer, SimpleSigner

from worker.signing import errors
from worker.signing.trust.certificates import (
    DOCUMENT_SIGNING,
    certificate_sha256,
    commits,
    is_demonstration,
    is_valid_at,
    seals,
    store_of,
    to_asn1,
)

OPEN_TO_OTHERS = 0o077
# What OWASP's password storage guidance asks of PBKDF2 with SHA-256 is 600,000; older files are told of, not refused.
FEWEST_ROUNDS = 100_000


@dataclass(frozen=True, kw_only=True)
class SigningKey:
    """A certificate, its issuers, and what signs for it; `weakness` says how it is kept worse than it could be."""

    certificate: x509.Certificate
    chain: tuple[x509.Certificate, ...]
    signer: Signer = field(repr=False)
    weakness: str | None = None

    @property
    def certificate_sha256(self) -> str:
        """Return the fingerprint of the certificate."""
        return certificate_sha256(self.certificate)

    @property
    def subject(self) -> str:
        """Return the whole name in the certificate."""
        return self.certificate.subject.rfc4514_string()

    @property
    def is_demonstration(self) -> bool:
        """Tell whether the key is for demonstration only."""
        return is_demonstration(self.certificate)

    @property
    def anchors(self) -> tuple[x509.Certificate, ...]:
        """Return the self-issued certificates a receiver would have to trust."""
        return tuple(c for c in (self.certificate, *self.chain) if c.issuer == c.subject)

    def require_valid_at(self, moment: datetime) -> None:
        """Refuse a moment outside the certificate's validity."""
        if not is_valid_at(self.certificate, moment):
            first, last = self.certificate.not_valid_before_utc, self.certificate.not_valid_after_utc
            raise errors.SigningKeyUnfitError(
                f"The certificate is valid from {first:%Y-%m-%d} to {last:%Y-%m-%d}, not at {moment.isoformat()}. "
                "Renew it, or check the clock."
            )


def load_signing_key(*, pkcs12_file: Path, passphrase_file: Path, now: datetime) -> SigningKey:
    """Open the key, and refuse one that is open to others, unreadable or unfit to sign a document now."""
    content = read_private(pkcs12_file)
    # An editor leaves a line end behind; a passphrase does not end in one.
    passphrase = read_private(passphrase_file).rstrip(b"\r\n")
    key = _open_pkcs12(content, passphrase=passphrase, file=pkcs12_file)
    require_fit(key, now=now, source=pkcs12_file)
    return key


def signing_key_of(
    certificate: x509.Certificate,
    key: PrivateKeyTypes,
    *,
    chain: tuple[x509.Certificate, ...] = (),
    weakness: str | None = None,
) -> SigningKey:
    """Return what signs with a private key that is at hand."""
    private = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    signer = SimpleSigner(to_asn1(certificate), PrivateKeyInfo.load(private), store_of(chain))
    return SigningKey(certificate=certificate, chain=chain, signer=signer, weakness=weakness)


def require_fit(key: SigningKey, *, now: datetime, source: Path) -> None:
    """Refuse a certificate that may not sign documents, stands alone, or is not valid now."""
    if not commits(key.certificate):
        raise errors.SigningKeyUnfitError(
            "The certificate's key usage lacks contentCommitment (nonRepudiation). "
            "Ask its issuer for one that may sign documents."
        )
    if not seals(key.certificate):
        raise errors.SigningKeyUnfitError(
            f"The certificate's extended key usage lacks {DOCUMENT_SIGNING.dotted_string} (RFC 9336), "
            "without which no reader takes its signature for a seal. Ask its issuer for one that has it."
        )
    if not key.anchors:
        raise errors.SigningKeyUnfitError(f"{source} lacks its issuers. Export it again with the chain up to the root.")
    key.require_valid_at(now)


def read_private(file: Path) -> bytes:
    """Read what nobody else on this machine may read."""
    try:
        if file.stat().st_mode & OPEN_TO_OTHERS:
            raise errors.SigningKeyExposedError(file)
        return file.read_bytes()
    except OSError as error:
        raise errors.SigningKeyMissingError(file) from error


def weakness_of(content: bytes) -> str | None:
    """Say why a readable PKCS#12 file is weakly kept; `None` where it is not, or where it does not say."""
    try:
        bundle = asn1_pkcs12.Pfx.load(content)
        ways = [bag["bag_value"]["encryption_algorithm"] for bag in _key_bags(bundle)]
        rounds = [(str(way.kdf), int(way.kdf_iterations)) for way in ways]
    except (ValueError, TypeError, LookupError, AttributeError):
        return None
    for kdf, count in rounds:
        if kdf != "pbkdf2":
            return f"its key is encrypted in the old way ({kdf})"
        if count < FEWEST_ROUNDS:
            return f"its passphrase is hashed {count} times"
    return None


def _open_pkcs12(content: bytes, *, passphrase: bytes, file: Path) -> SigningKey:
    try:
        bundle = pkcs12.load_pkcs12(content, passphrase)
    except ValueError as error:
        raise errors.SigningKeyUnreadableError(
            f"{file} does not open: the passphrase is wrong, or it is not a PKCS#12 file. "
            "Try both with: openssl pkcs12 -info -noout -in FILE -passin file:PASSPHRASE_FILE"
        ) from error
    if bundle.key is None or bundle.cert is None:
        raise errors.SigningKeyUnreadableError(f"{file} holds no key with its certificate. Export both into it.")
    chain = tuple(entry.certificate for entry in bundle.additional_certs)
    return signing_key_of(bundle.cert.certificate, bundle.key, chain=chain, weakness=weakness_of(content))


def _key_bags(bundle: asn1_pkcs12.Pfx) -> list[asn1_pkcs12.SafeBag]:
    return [
        bag
        for info in bundle.authenticated_safe
        if info["content_type"].native == "data"
        for bag in asn1_pkcs12.SafeContents.load(info["content"].native)
        if bag["bag_id"].native == "pkcs8_shrouded_key_bag"
    ]
