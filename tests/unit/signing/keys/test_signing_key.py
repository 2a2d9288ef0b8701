"""A signing key is opened only if it is private, whole and fit; the throwaway authority says what it is."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    KeySerializationEncryption,
    PrivateFormat,
    pkcs12,
)
from cryptography.x509.oid import ExtendedKeyUsageOID

from tests.signed_documents import NOW
from tests.signing_people import SIGNING, make_signatory
from worker.demo.authority.throwaway import AuthorityExistsError, DemonstrationAuthority, make_demonstration_authority
from worker.signing.errors import (
    SigningKeyExposedError,
    SigningKeyMissingError,
    SigningKeyUnfitError,
    SigningKeyUnreadableError,
)
from worker.signing.keys.signing_key import SigningKey, load_signing_key, weakness_of
from worker.signing.trust.certificates import DOCUMENT_SIGNING


@dataclass(frozen=True, kw_only=True)
class KeyFiles:
    """A key's two files, to be damaged by a test."""

    pkcs12_file: Path
    passphrase_file: Path

    def load(self) -> SigningKey:
        """Open the key at the tests' time."""
        return load_signing_key(pkcs12_file=self.pkcs12_file, passphrase_file=self.passphrase_file, now=NOW)


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> DemonstrationAuthority:
    return make_demonstration_authority(tmp_path_factory.mktemp("authority"), now=NOW)


@pytest.fixture
def files(authority: DemonstrationAuthority, tmp_path: Path) -> KeyFiles:
    return write_key_files(
        tmp_path, pkcs12_bytes=authority.pkcs12_file.read_bytes(), passphrase=authority.passphrase_file.read_bytes()
    )


def write_key_files(folder: Path, *, pkcs12_bytes: bytes, passphrase: bytes) -> KeyFiles:
    files = KeyFiles(pkcs12_file=folder / "key.p12", passphrase_file=folder / "key.passphrase")
    for file, content in ((files.pkcs12_file, pkcs12_bytes), (files.passphrase_file, passphrase)):
        file.write_bytes(content)
        file.chmod(0o600)
    return files


def write_self_signed(
    folder: Path,
    *,
    usage: Collection[str] | None = SIGNING,
    purposes: Collection[x509.ObjectIdentifier] = (DOCUMENT_SIGNING,),
) -> KeyFiles:
    """Write a key whose certificate is its own root, with this key usage or none, for these purposes or any."""
    last = NOW + timedelta(days=1)
    made = make_signatory("Self-made", usage=usage, purposes=purposes, valid_from=NOW, valid_until=last)
    encryption = BestAvailableEncryption(b"word")
    bundle = pkcs12.serialize_key_and_certificates(b"key", made.key, made.certificate, None, encryption)
    return write_key_files(folder, pkcs12_bytes=bundle, passphrase=b"word")


def test_the_throwaway_authority_keeps_its_key_to_its_owner(authority: DemonstrationAuthority) -> None:
    modes = {file.name: file.stat().st_mode & 0o777 for file in authority.root_file.parent.iterdir()}
    assert modes == {"root.pem": 0o444, "seal.p12": 0o400, "seal.passphrase": 0o400}


def test_the_throwaway_seal_says_that_it_is_not_for_real_use(files: KeyFiles) -> None:
    key = files.load()
    assert key.is_demonstration
    assert key.weakness is None
    assert "DEMONSTRATION" in key.subject
    assert "not for real use" in key.subject


def test_the_throwaway_seal_may_sign_documents_and_nothing_else(files: KeyFiles) -> None:
    extensions = files.load().certificate.extensions
    usage = extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    own = make_signatory(usage=SIGNING).certificate.extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.value == own.value
    assert not extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    # RFC 9336, section 3.1: id-kp-documentSigning. emailProtection beside it: what pdfsig and openssl ask for, tried.
    purposes = set(extensions.get_extension_for_class(x509.ExtendedKeyUsage).value)
    assert purposes == {x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36"), ExtendedKeyUsageOID.EMAIL_PROTECTION}
    assert extensions.get_extension_for_class(x509.CRLDistributionPoints).value


def test_an_authority_is_never_overwritten(authority: DemonstrationAuthority) -> None:
    before = authority.pkcs12_file.read_bytes()
    with pytest.raises(AuthorityExistsError):
        make_demonstration_authority(authority.root_file.parent, now=NOW)
    assert authority.pkcs12_file.read_bytes() == before


def test_the_key_names_its_certificate_and_never_shows_itself(
    files: KeyFiles, authority: DemonstrationAuthority
) -> None:
    key = files.load()
    assert key.certificate_sha256 == key.certificate.fingerprint(SHA256()).hex()
    assert key.anchors == (authority.root,)
    assert "signer" not in repr(key)


def test_a_line_end_after_the_passphrase_does_not_matter(files: KeyFiles) -> None:
    files.passphrase_file.write_bytes(files.passphrase_file.read_bytes() + b"\r\n")
    assert files.load().is_demonstration


@pytest.mark.parametrize("missing", ["pkcs12_file", "passphrase_file"])
def test_a_missing_file_is_named(files: KeyFiles, missing: str) -> None:
    file: Path = getattr(files, missing)
    file.unlink()
    with pytest.raises(SigningKeyMissingError, match=str(file)):
        files.load()


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620])
@pytest.mark.parametrize("exposed", ["pkcs12_file", "passphrase_file"])
def test_a_key_open_to_others_is_refused(files: KeyFiles, exposed: str, mode: int) -> None:
    file: Path = getattr(files, exposed)
    file.chmod(mode)
    with pytest.raises(SigningKeyExposedError, match=f"chmod 400 {file}"):
        files.load()


def test_a_wrong_passphrase_is_refused(files: KeyFiles) -> None:
    files.passphrase_file.write_bytes(b"wrong")
    with pytest.raises(SigningKeyUnreadableError, match="passphrase is wrong"):
        files.load()


@pytest.mark.parametrize("content", [b"", b"-----BEGIN CERTIFICATE-----", bytes(64)])
def test_a_file_that_is_no_pkcs12_is_refused(files: KeyFiles, content: bytes) -> None:
    files.pkcs12_file.write_bytes(content)
    with pytest.raises(SigningKeyUnreadableError, match="not a PKCS#12"):
        files.load()


def rewrite(files: KeyFiles, encryption: KeySerializationEncryption) -> SigningKey:
    """Keep the same key in another way, under the passphrase `word`."""
    bundle = pkcs12.load_pkcs12(files.pkcs12_file.read_bytes(), files.passphrase_file.read_bytes())
    assert isinstance(bundle.key, ec.EllipticCurvePrivateKey)
    assert bundle.cert is not None
    issuers = [one.certificate for one in bundle.additional_certs]
    content = pkcs12.serialize_key_and_certificates(b"key", bundle.key, bundle.cert.certificate, issuers, encryption)
    files.pkcs12_file.write_bytes(content)
    files.passphrase_file.write_bytes(b"word")
    return files.load()


@pytest.mark.parametrize(
    ("rounds", "weakness"),
    [(1, "hashed 1 times"), (99_999, "hashed 99999 times"), (100_000, None), (600_000, None)],
)
def test_a_key_whose_passphrase_is_quickly_tried_is_told_of(files: KeyFiles, rounds: int, weakness: str | None) -> None:
    way = PrivateFormat.PKCS12.encryption_builder().key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
    key = rewrite(files, way.kdf_rounds(rounds).hmac_hash(SHA256()).build(b"word"))
    assert (key.weakness is None) if weakness is None else (weakness in (key.weakness or ""))


def test_a_key_encrypted_in_the_old_way_is_told_of(files: KeyFiles) -> None:
    old = PrivateFormat.PKCS12.encryption_builder().key_cert_algorithm(pkcs12.PBES.PBESv1SHA1And3KeyTripleDESCBC)
    key = rewrite(files, old.kdf_rounds(600_000).build(b"word"))
    assert "old way" in (key.weakness or "")


@pytest.mark.parametrize("content", [b"", b"not a bundle", bytes(100)])
def test_a_file_that_does_not_say_how_it_is_kept_is_not_called_weak(content: bytes) -> None:
    assert weakness_of(content) is None


def test_a_file_without_a_key_is_refused(authority: DemonstrationAuthority, tmp_path: Path) -> None:
    bundle = pkcs12.serialize_key_and_certificates(None, None, None, [authority.root], BestAvailableEncryption(b"word"))
    with pytest.raises(SigningKeyUnreadableError, match="no key"):
        write_key_files(tmp_path, pkcs12_bytes=bundle, passphrase=b"word").load()


@pytest.mark.parametrize("usage", [None, ("digital_signature",)])
def test_a_certificate_that_may_not_commit_to_content_is_refused(tmp_path: Path, usage: Collection[str] | None) -> None:
    with pytest.raises(SigningKeyUnfitError, match="contentCommitment"):
        write_self_signed(tmp_path, usage=usage).load()


@pytest.mark.parametrize("purposes", [(), (ExtendedKeyUsageOID.EMAIL_PROTECTION,)])
def test_a_certificate_that_is_not_for_signing_documents_is_refused(
    tmp_path: Path, purposes: Collection[x509.ObjectIdentifier]
) -> None:
    with pytest.raises(SigningKeyUnfitError, match="RFC 9336"):
        write_self_signed(tmp_path, purposes=purposes).load()


def test_a_key_is_fit_on_the_first_and_last_moment_of_its_certificate_and_not_beyond(tmp_path: Path) -> None:
    key = write_self_signed(tmp_path).load()
    last = NOW + timedelta(days=1)
    key.require_valid_at(NOW)
    key.require_valid_at(last)
    for moment in (NOW - timedelta(seconds=1), last + timedelta(seconds=1)):
        with pytest.raises(SigningKeyUnfitError, match="valid from"):
            key.require_valid_at(moment)


def test_an_expired_key_is_refused_when_it_is_opened(tmp_path: Path) -> None:
    old = make_demonstration_authority(tmp_path, now=NOW - timedelta(days=366))
    with pytest.raises(SigningKeyUnfitError, match="Renew it"):
        load_signing_key(pkcs12_file=old.pkcs12_file, passphrase_file=old.passphrase_file, now=NOW)
