"""A key in a security module signs as one in a file does, and whatever is wrong with it is said."""

import os
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from service.vocabulary.signatures import SignatureLevel
from tests.outside_tools import require_tool
from tests.security_module import PIN, SoftModule, make_module
from tests.signed_documents import NOW, Signed, certify_document, countersign_document, make_document, make_sealing
from worker.signing.check.verify import verify
from worker.signing.errors import (
    SigningKeyError,
    SigningKeyExposedError,
    SigningKeyMissingError,
    SigningKeyPinError,
    SigningKeyUnfitError,
    SigningKeyUnreadableError,
)
from worker.signing.keys.security_module import KeyModule, load_module_key
from worker.signing.trust.role_trust import RoleTrust

ISSUED = NOW - timedelta(hours=5)


@pytest.fixture
def module(signed: Signed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SoftModule:
    key = ec.generate_private_key(ec.SECP256R1())
    return make_module(tmp_path / "module", authority=signed.authority, now=ISSUED, key=key, patch=monkeypatch)


@pytest.mark.parametrize("kind", ["ec", "rsa"])
def test_a_package_is_sealed_and_countersigned_by_a_key_that_never_leaves_its_module(
    signed: Signed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    private = ec.generate_private_key(ec.SECP256R1()) if kind == "ec" else rsa.generate_private_key(65537, 3072)
    module = make_module(tmp_path / "m", authority=signed.authority, now=ISSUED, key=private, patch=monkeypatch)
    key = load_module_key(module.place, now=NOW)
    sealing = make_sealing(signed.authority, level=SignatureLevel.B_T, now=NOW)
    countersigned = countersign_document(
        certify_document(make_document(), key=key, signed_at=NOW, sealing=sealing), key=key, sealing=sealing
    )
    report = verify(countersigned, trust=RoleTrust(service=signed.trust), now=NOW)
    assert report.problems == ()
    assert report.level is SignatureLevel.B_T
    assert {one.certificate_sha256 for one in report.signatures} == {key.certificate_sha256}
    assert key.is_demonstration


def test_the_module_is_closed_again_after_each_use_so_that_a_fork_may_open_it(
    signed: Signed, module: SoftModule
) -> None:
    key = load_module_key(module.place, now=NOW)
    child = os.fork()
    if child == 0:
        done = 1
        try:
            certify_document(make_document(), key=key, signed_at=NOW)
            done = 0
        finally:
            os._exit(done)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert verify(
        certify_document(make_document(), key=key, signed_at=NOW), trust=RoleTrust(service=signed.trust), now=NOW
    ).is_sound


def changed_pin(place: KeyModule, content: bytes) -> KeyModule:
    file = place.pin_file.with_name("other_pin")
    file.write_bytes(content)
    file.chmod(0o400)
    return replace(place, pin_file=file)


def test_a_line_end_after_the_pin_does_not_matter(module: SoftModule) -> None:
    assert load_module_key(changed_pin(module.place, PIN.encode() + b"\n"), now=NOW).is_demonstration


@pytest.mark.parametrize("pin", [b"wrong", b"000000", b""])
def test_a_wrong_pin_is_refused_with_a_warning_that_the_token_may_lock(module: SoftModule, pin: bytes) -> None:
    with pytest.raises(SigningKeyPinError, match="locks itself"):
        load_module_key(changed_pin(module.place, pin), now=NOW)


def test_a_pin_open_to_others_is_refused(module: SoftModule) -> None:
    module.place.pin_file.chmod(0o440)
    with pytest.raises(SigningKeyExposedError, match="chmod 400"):
        load_module_key(module.place, now=NOW)


@pytest.mark.parametrize("missing", ["module_file", "pin_file", "certificate_file"])
def test_a_file_that_is_not_there_is_named(module: SoftModule, missing: str) -> None:
    nowhere = module.folder / "nowhere"
    changed: dict[str, Any] = {missing: nowhere}
    with pytest.raises(SigningKeyMissingError, match=str(nowhere)):
        load_module_key(replace(module.place, **changed), now=NOW)


def test_a_file_that_is_no_module_is_named(module: SoftModule) -> None:
    with pytest.raises(SigningKeyUnreadableError, match="no PKCS#11 module"):
        load_module_key(replace(module.place, module_file=module.place.certificate_file), now=NOW)


def test_a_token_or_key_that_is_not_there_is_named(module: SoftModule) -> None:
    with pytest.raises(SigningKeyUnreadableError, match="No token elsewhere"):
        load_module_key(replace(module.place, token_label="elsewhere"), now=NOW)
    with pytest.raises(SigningKeyUnreadableError, match="holds 0 private keys other"):
        load_module_key(replace(module.place, key_label="other"), now=NOW)


def test_of_two_keys_with_one_label_none_is_taken(module: SoftModule) -> None:
    module.import_key(ec.generate_private_key(ec.SECP256R1()), label="seal", identifier="02")
    with pytest.raises(SigningKeyUnreadableError, match="holds 2 private keys seal"):
        load_module_key(module.place, now=NOW)


def test_a_key_of_another_certificate_signs_nothing(module: SoftModule) -> None:
    module.import_key(ec.generate_private_key(ec.SECP256R1()), label="another", identifier="03")
    key = load_module_key(replace(module.place, key_label="another"), now=NOW)
    with pytest.raises(SigningKeyUnfitError, match="not the one of the certificate"):
        certify_document(make_document(), key=key, signed_at=NOW)


def test_a_token_taken_away_between_finding_and_signing_is_said(module: SoftModule) -> None:
    key = load_module_key(module.place, now=NOW)
    (module.folder / "tokens").rename(module.folder / "taken")
    (module.folder / "tokens").mkdir()
    with pytest.raises(SigningKeyError, match="No token"):
        certify_document(make_document(), key=key, signed_at=NOW)


def test_a_certificate_without_its_issuers_is_refused(module: SoftModule) -> None:
    alone = module.place.certificate_file.read_bytes().split(b"-----END CERTIFICATE-----\n")[0]
    file = module.folder / "alone.pem"
    file.write_bytes(alone + b"-----END CERTIFICATE-----\n")
    with pytest.raises(SigningKeyUnfitError, match="lacks its issuers"):
        load_module_key(replace(module.place, certificate_file=file), now=NOW)


def test_the_tool_that_makes_the_token_is_there_where_all_checks_must_run() -> None:
    assert Path(require_tool("softhsm2-util")).exists()
