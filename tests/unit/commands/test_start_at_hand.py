"""Files, folders and keys that settings name are tried before a part begins, and what is wrong with them is said."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from pydantic import SecretStr

from service.settings import WorkerSettings
from tests.security_module import make_module
from worker.commands.start.check import PartName, Place, check_settings
from worker.commands.start.tried import State, Tried
from worker.demo.authority.throwaway import DemonstrationAuthority, make_demonstration_authority


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> DemonstrationAuthority:
    return make_demonstration_authority(tmp_path_factory.mktemp("authority"), now=datetime.now(UTC))


@pytest.fixture
def settings(authority: DemonstrationAuthority, tmp_path: Path) -> WorkerSettings:
    return WorkerSettings(
        database_url=SecretStr("postgresql://"),
        redis_url=SecretStr("redis://"),
        blob_dir=tmp_path / "blobs",
        signing_pkcs12_file=authority.pkcs12_file,
        signing_passphrase_file=authority.passphrase_file,
        signing_trust_file=authority.root_file,
    )


def findings(settings: WorkerSettings, part: PartName = PartName.WORKER) -> dict[str, Tried]:
    """Return what was found other than good."""
    return {one.setting: one for one in check_settings(settings, part, [Place.AT_HAND]) if one.state is not State.GOOD}


def changed(settings: WorkerSettings, **changes: object) -> WorkerSettings:
    return settings.model_copy(update=changes)


def test_a_worker_without_anything_wrong_is_told_what_was_tried(settings: WorkerSettings) -> None:
    tried = {
        one.setting for one in check_settings(settings, PartName.WORKER, [Place.AT_HAND]) if one.state is State.GOOD
    }
    assert tried == {"BLOB_DIR", "SIGNING_TRUST_FILE", "SIGNING_PKCS12_FILE, SIGNING_PASSPHRASE_FILE"}
    assert findings(settings) == {}


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (None, "No such file"),
        (b"", "holds no certificate"),
        (b"words\n", "holds no certificate"),
        ("folder", "directory"),
    ],
)
@pytest.mark.parametrize("name", ["signing_trust_file", "timestamp_trust_file"])
def test_a_trust_file_that_is_none_is_wrong(
    settings: WorkerSettings, tmp_path: Path, name: str, content: bytes | str | None, reason: str
) -> None:
    file = tmp_path / "roots.pem"
    if isinstance(content, bytes):
        file.write_bytes(content)
    elif content is not None:
        file.mkdir()
    found = findings(changed(settings, **{name: file}), PartName.READER)
    assert found[name.upper()].state is State.WRONG
    assert str(file) in found[name.upper()].reason and reason in found[name.upper()].reason


def test_roots_that_do_not_vouch_for_the_key_are_wrong(settings: WorkerSettings, tmp_path: Path) -> None:
    other = make_demonstration_authority(tmp_path / "other", now=datetime.now(UTC))
    found = findings(changed(settings, signing_trust_file=other.root_file))
    assert found["SIGNING_TRUST_FILE"].state is State.WRONG
    assert "does not vouch for the signing key" in found["SIGNING_TRUST_FILE"].reason


@pytest.mark.parametrize("name", ["signing_pkcs12_file", "signing_passphrase_file"])
def test_a_key_that_does_not_open_is_wrong_and_its_setting_named(
    settings: WorkerSettings, tmp_path: Path, name: str
) -> None:
    file = tmp_path / "private"
    assert name.upper() in findings(changed(settings, **{name: file}))
    file.write_bytes(b"not it")
    file.chmod(0o444)
    assert name.upper() in findings(changed(settings, **{name: file}))
    file.chmod(0o400)
    [found] = findings(changed(settings, **{name: file})).values()
    assert found.state is State.WRONG
    assert "SIGNING_PKCS12_FILE" in found.setting


def test_a_key_of_another_certificate_in_a_security_module_is_found(
    settings: WorkerSettings,
    authority: DemonstrationAuthority,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    module = make_module(tmp_path / "m", authority=authority, now=datetime.now(UTC), key=key, patch=monkeypatch)
    place = module.place
    in_module = changed(
        settings,
        signing_pkcs12_file=None,
        signing_passphrase_file=None,
        signing_pkcs11_module=place.module_file,
        signing_pkcs11_token=place.token_label,
        signing_pkcs11_key=place.key_label,
        signing_pkcs11_pin_file=place.pin_file,
        signing_certificate_file=place.certificate_file,
    )
    assert findings(in_module) == {}
    module.import_key(ec.generate_private_key(ec.SECP256R1()), label="other", identifier="02")
    [found] = findings(changed(in_module, signing_pkcs11_key="other")).values()
    assert (found.state, "SIGNING_PKCS11_KEY" in found.setting) == (State.WRONG, True)
    for name in ("signing_pkcs11_token", "signing_pkcs11_key"):
        [found] = findings(changed(in_module, **{name: "absent"})).values()
        assert (found.state, found.setting.count(name.upper())) == (State.WRONG, 1)


@pytest.mark.parametrize("part", [PartName.API, PartName.WORKER, PartName.READER])
def test_where_no_file_can_be_kept_is_wrong(settings: WorkerSettings, tmp_path: Path, part: PartName) -> None:
    assert findings(changed(settings, blob_dir=tmp_path / "unmounted" / "blobs"), part)["BLOB_DIR"].state is State.WRONG
    assert not (tmp_path / "unmounted").exists()
    (tmp_path / "file").write_bytes(b"")
    assert findings(changed(settings, blob_dir=tmp_path / "file"), part)["BLOB_DIR"].state is State.WRONG
    kept = tmp_path / "kept"
    assert findings(changed(settings, blob_dir=kept), part) == {}
    assert list(kept.iterdir()) == []


def test_a_full_disk_is_a_warning(settings: WorkerSettings, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(**_: object) -> object:
        return Path("/dev/full").open("wb", buffering=0)

    monkeypatch.setattr("worker.commands.start.folders.tempfile.NamedTemporaryFile", full)
    assert findings(settings, PartName.API)["BLOB_DIR"].state is State.DOUBTFUL


@pytest.mark.parametrize("content", [None, b"no list"])
def test_revocation_lists_that_cannot_be_read_are_wrong(
    settings: WorkerSettings, authority: DemonstrationAuthority, tmp_path: Path, content: bytes | None
) -> None:
    folder = tmp_path / "lists"
    if content is not None:
        folder.mkdir()
        (folder / "good.crl").write_bytes(authority.revocation_list(now=datetime.now(UTC)))
        assert findings(changed(settings, revocation_list_dir=folder), PartName.READER) == {}
        (folder / "other.crl").write_bytes(content)
    found = findings(changed(settings, revocation_list_dir=folder), PartName.READER)
    assert found["REVOCATION_LIST_DIR"].state is State.WRONG
