"""The one place where the settings become a signing key: a PKCS#12 file, or a key inside a security module."""

from datetime import UTC, datetime

from service.settings import WorkerSettings
from worker.jobs.runner import HopelessError
from worker.signing.errors import SigningError, SigningKeyPinError
from worker.signing.keys.security_module import KeyModule, load_module_key
from worker.signing.keys.signing_key import SigningKey, load_signing_key


class SigningKeyNotNamedError(SigningError):
    """No signing key is named in the settings, or two are."""


def load_key(settings: WorkerSettings) -> SigningKey:
    """Load the signing key that the settings name; without one no worker starts."""
    now, place = datetime.now(UTC), _module_of(settings)
    if place is not None:
        return load_module_key(place, now=now)
    if settings.signing_pkcs12_file is None or settings.signing_passphrase_file is None:
        raise SigningKeyNotNamedError(
            "Set SIGNING_PKCS12_FILE and SIGNING_PASSPHRASE_FILE, or SIGNING_PKCS11_MODULE and what belongs to it, to "
            "the key that signs packages, or run `route-acceptance demo`, which makes a throwaway one."
        )
    return load_signing_key(
        pkcs12_file=settings.signing_pkcs12_file, passphrase_file=settings.signing_passphrase_file, now=now
    )


def load_key_for_job(settings: WorkerSettings) -> SigningKey:
    """Load the key as `load_key` does; a refused PIN gives the job up, for trying on could lock the module."""
    try:
        return load_key(settings)
    except SigningKeyPinError as error:
        raise HopelessError(str(error)) from error


def _module_of(settings: WorkerSettings) -> KeyModule | None:
    module, token = settings.signing_pkcs11_module, settings.signing_pkcs11_token
    label, pin_file = settings.signing_pkcs11_key, settings.signing_pkcs11_pin_file
    certificate_file = settings.signing_certificate_file
    if module is None:
        return None
    if token is None or label is None or pin_file is None or certificate_file is None:
        raise SigningKeyNotNamedError(
            "Beside SIGNING_PKCS11_MODULE set SIGNING_PKCS11_TOKEN, SIGNING_PKCS11_KEY, SIGNING_PKCS11_PIN_FILE and "
            "SIGNING_CERTIFICATE_FILE."
        )
    if settings.signing_pkcs12_file is not None:
        raise SigningKeyNotNamedError("Set either SIGNING_PKCS12_FILE or SIGNING_PKCS11_MODULE: two keys are named.")
    return KeyModule(
        module_file=module, token_label=token, key_label=label, pin_file=pin_file, certificate_file=certificate_file
    )
