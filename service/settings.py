"""Settings, from the environment."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, HttpUrl, NonNegativeInt, PositiveInt, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict

MAX_BODY_BYTES = 4 * 1024 * 1024
# What one signature may add to a package: its drawing with fonts or a scanned hand, certificates, a time stamp.
MAX_SIGNATURE_BYTES = 4 * 1024 * 1024
MAX_BATCH = 500
CLOCK_TOLERANCE = timedelta(minutes=2)


class DatabaseSettings(BaseSettings):
    """Where PostgreSQL is: the application's role, and the owner's for migrations."""

    model_config = SettingsConfigDict(extra="ignore", env_ignore_empty=True)

    database_url: SecretStr
    migration_database_url: SecretStr | None = None
    application_role: str = "acceptance_app"


class ServiceSettings(DatabaseSettings):
    """What answering requests needs."""

    blob_dir: Path
    max_evidence_bytes: PositiveInt = 50_000_000
    blob_reserve_bytes: NonNegativeInt = 100_000_000
    pool_size: int = 12


def _to_folder(url: str) -> str:
    """Return a web address that paths can be added to."""
    return f"{str(HttpUrl(url)).rstrip('/')}/"


PublicUrl = Annotated[str, AfterValidator(_to_folder)]


def _is_web_address(url: SecretStr) -> SecretStr:
    """Refuse what no request can be sent to."""
    HttpUrl(url.get_secret_value())
    return url


# Secret: it may hold the name and password that the authority knows us by.
TimestampUrl = Annotated[SecretStr, AfterValidator(_is_web_address)]


class WorkerSettings(ServiceSettings):
    """What judging, drawing and signing need."""

    redis_url: SecretStr
    signing_pkcs12_file: Path | None = None
    signing_passphrase_file: Path | None = None
    signing_pkcs11_module: Path | None = None
    signing_pkcs11_token: str | None = None
    signing_pkcs11_key: str | None = None
    signing_pkcs11_pin_file: Path | None = None
    signing_certificate_file: Path | None = None
    signing_trust_file: Path | None = None
    timestamp_url: TimestampUrl | None = None
    timestamp_trust_file: Path | None = None
    revocation_list_dir: Path | None = None
    authority_timeout_s: float = 10
    public_url: PublicUrl | None = None
    # A killed worker's job goes on once its lease is over; hints are given again within it.
    lease_s: float = 15
    hint_again_s: float = 10
    # How long an authority or a disk may be away before who waits for it is told.
    outage_patience_s: float = 24 * 3600
    settle_interval_s: float = 1
    max_attempts: int = 5
