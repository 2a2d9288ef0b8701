"""A key inside a security module (PKCS#11): it never leaves, and the module is open only while it signs."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Lock

import pkcs11
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
from cryptography.hazmat.primitives.hashes import SHA256
from pkcs11 import exceptions, lib
from pkcs11.types import Session
from pyhanko.sign.pkcs11 import PKCS11Signer
from pyhanko.sign.signers import Signer

from worker.signing import errors
from worker.signing.keys.signing_key import SigningKey, read_private, require_fit
from worker.signing.trust.certificates import store_of, to_asn1

LARGEST_SIGNATURE = 512
_PIN_REFUSED = (
    exceptions.PinIncorrect,
    exceptions.PinInvalid,
    exceptions.PinLenRange,
    exceptions.PinLocked,
    exceptions.PinExpired,
)
# One library in one process: opened by two threads at once, the first to close would close it for both.
_one_at_a_time = Lock()


@dataclass(frozen=True, kw_only=True)
class KeyModule:
    """Where a key is: the module, the labels of token and key, the PIN, and the certificate with its chain."""

    module_file: Path
    token_label: str
    key_label: str
    pin_file: Path
    certificate_file: Path


def load_module_key(place: KeyModule, *, now: datetime) -> SigningKey:
    """Find the key, and refuse one that is not there or unfit to sign a document now."""
    certificate, *chain = _read_certificates(place.certificate_file)
    with _opened(place) as session:
        _find_key(session, place)
    signer = _ModuleSigner(place, certificate=certificate, chain=chain)
    key = SigningKey(certificate=certificate, chain=tuple(chain), signer=signer)
    require_fit(key, now=now, source=place.certificate_file)
    return key


class _ModuleSigner(Signer):
    """The library's signer, opened for each signature: what a process holds open does not survive its fork."""

    def __init__(self, place: KeyModule, *, certificate: x509.Certificate, chain: list[x509.Certificate]) -> None:
        super().__init__(signing_cert=to_asn1(certificate), cert_registry=store_of(chain))
        self._place = place
        self._certificate = certificate

    async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
        """Sign inside the module, and see that it was the certificate's key that signed."""
        if dry_run:
            return bytes(LARGEST_SIGNATURE)
        signature = await asyncio.to_thread(self._sign, data, digest_algorithm)
        if not _is_by(self._certificate, signature, data):
            raise errors.SigningKeyUnfitError(
                f"The key {self._place.key_label} in token {self._place.token_label} is not the one of the certificate "
                f"in {self._place.certificate_file}. Give that key's label, or its certificate."
            )
        return signature

    def _sign(self, data: bytes, digest_algorithm: str) -> bytes:
        with _opened(self._place) as session:
            signer = PKCS11Signer(
                session,
                signing_cert=self.signing_cert,
                key_label=self._place.key_label,
                # Every module signs digests on elliptic curves; few take the whole text.
                use_raw_mechanism=isinstance(self._certificate.public_key(), ec.EllipticCurvePublicKey),
            )
            return asyncio.run(signer.async_sign_raw(data, digest_algorithm))


def _read_certificates(file: Path) -> list[x509.Certificate]:
    try:
        return x509.load_pem_x509_certificates(file.read_bytes())
    except OSError as error:
        raise errors.SigningKeyMissingError(file) from error
    except ValueError as error:
        raise errors.SigningKeyUnreadableError(f"{file} holds no certificates as PEM text: {error}.") from error


@contextmanager
def _opened(place: KeyModule) -> Iterator[Session]:
    pin = read_private(place.pin_file).rstrip(b"\r\n").decode()
    if not place.module_file.is_file():
        raise errors.SigningKeyMissingError(place.module_file)
    with _one_at_a_time:
        try:
            with _initialized(place.module_file) as module:
                token = module.get_token(token_label=place.token_label)
                with token.open(user_pin=pin) as session:
                    yield session
        except exceptions.NoSuchToken as error:
            raise errors.SigningKeyUnreadableError(f"No token {place.token_label} in {place.module_file}.") from error
        except _PIN_REFUSED as error:
            raise errors.SigningKeyPinError(place.pin_file, place.token_label) from error
        except exceptions.PKCS11Error as error:
            raise errors.SigningKeyUnreadableError(
                f"{place.module_file} does not let the key be used: {type(error).__name__}, {error}."
            ) from error


@contextmanager
def _initialized(file: Path) -> Iterator["pkcs11._pkcs11.lib"]:
    try:
        module = lib(str(file))
    except exceptions.PKCS11Error as error:
        raise errors.SigningKeyUnreadableError(f"{file} is no PKCS#11 module that can be loaded: {error}.") from error
    try:
        yield module
    finally:
        module.finalize()


def _find_key(session: Session, place: KeyModule) -> None:
    wanted = {pkcs11.Attribute.CLASS: pkcs11.ObjectClass.PRIVATE_KEY, pkcs11.Attribute.LABEL: place.key_label}
    found = len(list(session.get_objects(wanted)))
    if found != 1:
        raise errors.SigningKeyUnreadableError(
            f"Token {place.token_label} holds {found} private keys {place.key_label}, and one is needed."
        )


def _is_by(certificate: x509.Certificate, signature: bytes, data: bytes) -> bool:
    public = certificate.public_key()
    try:
        if isinstance(public, ec.EllipticCurvePublicKey):
            public.verify(signature, data, ec.ECDSA(SHA256()))
        elif isinstance(public, rsa.RSAPublicKey):
            public.verify(signature, data, padding.PKCS1v15(), SHA256())
        else:
            return False
    except InvalidSignature:
        return False
    return True
