"""Try the signing key, the roots that vouch for it and the authority that states the time: sign a blank page."""

from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas

from service.settings import WorkerSettings
from service.vocabulary.signatures import SignatureLevel
from worker.commands.start.tried import State, Tried
from worker.package.pages.drawing import SIGNATURE_BOXES
from worker.sealing.signing_key import load_key
from worker.sealing.trust_services import authorities_of
from worker.signing.check.verify import verify
from worker.signing.errors import SigningError, SigningKeyPinError
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.certify import certify
from worker.signing.make.sealing import ALONE, Sealing
from worker.signing.trust.role_trust import RoleTrust

_SETTINGS = (
    "signing_pkcs12_file",
    "signing_passphrase_file",
    "signing_pkcs11_module",
    "signing_pkcs11_token",
    "signing_pkcs11_key",
    "signing_pkcs11_pin_file",
    "signing_certificate_file",
)


def try_signing_key(settings: WorkerSettings) -> Iterator[Tried]:
    """Open the key and sign with it, and see that the roots that receivers trust vouch for what it signed."""
    try:
        key = load_key(settings)
        signed = _sign(key)
    except SigningKeyPinError as error:
        yield Tried("SIGNING_PKCS11_PIN_FILE", State.REFUSED, str(error))
        return
    except SigningError as error:
        yield Tried(_named_in(settings, str(error)), State.WRONG, str(error))
        return
    yield Tried(_named_in(settings, ""), State.GOOD, f"{key.subject} signs.")
    yield from _try_vouching(settings, signed)


def try_time_authority(settings: WorkerSettings) -> Iterator[Tried]:
    """Have a signature stamped with the time, as every package will."""
    if settings.timestamp_url is None:
        return
    try:
        _sign(load_key(settings), Sealing(level=SignatureLevel.B_T, authorities=authorities_of(settings)))
    except (SigningError, OSError) as error:
        reason = f"{error} No package is issued until that is mended; all else goes on."
        yield Tried("TIMESTAMP_URL", State.DOUBTFUL, reason)
    else:
        yield Tried("TIMESTAMP_URL", State.GOOD, "the authority states the time, and is trusted.")


def _sign(key: SigningKey, sealing: Sealing = ALONE) -> bytes:
    page = BytesIO()
    canvas = Canvas(page)
    canvas.showPage()
    canvas.save()
    now = datetime.now(UTC)
    return certify(page.getvalue(), key=key, signed_at=now, reason="Trial", boxes=SIGNATURE_BOXES, sealing=sealing).pdf


def _try_vouching(settings: WorkerSettings, signed: bytes) -> Iterator[Tried]:
    file = settings.signing_trust_file
    # One that cannot be read has been told of already.
    if file is None or not file.is_file():
        return
    try:
        problems = verify(signed, trust=RoleTrust(service=[file.read_bytes()]), now=datetime.now(UTC)).problems
    except (SigningError, OSError):
        return
    if problems:
        reason = f"{file} does not vouch for the signing key. {' '.join(problems)}"
        yield Tried("SIGNING_TRUST_FILE", State.WRONG, reason)


def _named_in(settings: WorkerSettings, sentence: str) -> str:
    """Return the settings that a sentence is about: those whose values it quotes, else all that name the key."""
    values = {name.upper(): getattr(settings, name) for name in _SETTINGS if getattr(settings, name) is not None}
    quoted = [name for name, value in values.items() if str(value) in sentence]
    return ", ".join(quoted or values or ["SIGNING_PKCS12_FILE"])
