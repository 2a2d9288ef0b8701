"""The settings name one key, wholly; a security module that refuses the PIN is not asked again."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from pydantic import SecretStr

from service.settings import WorkerSettings
from tests.security_module import SoftModule, make_module
from worker.demo.authority.throwaway import DemonstrationAuthority, make_demonstration_authority
from worker.jobs.runner import HopelessError
from worker.sealing.signing_key import SigningKeyNotNamedError, load_key, load_key_for_job

NAMES = ("signing_pkcs11_token", "signing_pkcs11_key", "signing_pkcs11_pin_file", "signing_certificate_file")


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> DemonstrationAuthority:
    return make_demonstration_authority(tmp_path_factory.mktemp("authority"), now=datetime.now(UTC))


@pytest.fixture
def module(authority: DemonstrationAuthority, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SoftModule:
    key = ec.generate_private_key(ec.SECP256R1())
    return make_module(tmp_path / "m", authority=authority, now=datetime.now(UTC), key=key, patch=monkeypatch)


def settings_of(module: SoftModule | None = None, **changes: object) -> WorkerSettings:
    settings = WorkerSettings(
        database_url=SecretStr("postgresql://"), redis_url=SecretStr("redis://"), blob_dir=Path("blobs")
    )
    if module is not None:
        place = module.place
        values = (place.token_label, place.key_label, place.pin_file, place.certificate_file)
        changes = {"signing_pkcs11_module": place.module_file, **dict(zip(NAMES, values, strict=True)), **changes}
    return settings.model_copy(update=changes)


def test_a_key_in_a_module_is_found_by_the_settings(module: SoftModule) -> None:
    assert load_key(settings_of(module)).is_demonstration


def test_a_key_in_a_file_is_found_by_the_settings(authority: DemonstrationAuthority) -> None:
    settings = settings_of(signing_pkcs12_file=authority.pkcs12_file, signing_passphrase_file=authority.passphrase_file)
    assert load_key(settings).is_demonstration


def test_without_a_key_it_is_said_what_to_set() -> None:
    with pytest.raises(SigningKeyNotNamedError, match="SIGNING_PKCS12_FILE"):
        load_key(settings_of())


@pytest.mark.parametrize("name", NAMES)
def test_a_module_without_all_that_belongs_to_it_is_refused(module: SoftModule, name: str) -> None:
    with pytest.raises(SigningKeyNotNamedError, match=name.upper()):
        load_key(settings_of(module, **{name: None}))


def test_of_two_keys_named_none_is_taken(module: SoftModule, authority: DemonstrationAuthority) -> None:
    with pytest.raises(SigningKeyNotNamedError, match="two keys"):
        load_key(settings_of(module, signing_pkcs12_file=authority.pkcs12_file))


def test_a_refused_pin_gives_the_job_up_at_once(module: SoftModule) -> None:
    file = module.folder / "wrong"
    file.write_bytes(b"000000")
    file.chmod(0o400)
    with pytest.raises(HopelessError, match="locks itself"):
        load_key_for_job(settings_of(module, signing_pkcs11_pin_file=file))
