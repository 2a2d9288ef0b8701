"""Settings from the environment: what is empty is not set, and an address is one that paths can be added to."""

from pathlib import Path

import pytest
from pydantic import SecretStr, ValidationError

from service.settings import WorkerSettings


def public_url(monkeypatch: pytest.MonkeyPatch, value: str | None) -> str | None:
    """Return the public address that the settings make of the environment's."""
    if value is None:
        monkeypatch.delenv("PUBLIC_URL", raising=False)
    else:
        monkeypatch.setenv("PUBLIC_URL", value)
    return WorkerSettings(
        database_url=SecretStr("postgresql://"), redis_url=SecretStr("redis://"), blob_dir=Path("blobs")
    ).public_url


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, None),
        ("", None),
        ("https://acceptance.example", "https://acceptance.example/"),
        ("https://acceptance.example/", "https://acceptance.example/"),
        ("https://county.example/fibre", "https://county.example/fibre/"),
    ],
)
def test_a_public_address_ends_where_paths_begin(
    monkeypatch: pytest.MonkeyPatch, value: str | None, expected: str | None
) -> None:
    assert public_url(monkeypatch, value) == expected


@pytest.mark.parametrize("value", ["acceptance.example", "ftp://acceptance.example", "javascript:alert(1)"])
def test_what_a_browser_would_not_open_is_no_public_address(monkeypatch: pytest.MonkeyPatch, value: str) -> None:
    with pytest.raises(ValidationError):
        public_url(monkeypatch, value)
