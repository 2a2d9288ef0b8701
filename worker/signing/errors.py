"""What can go wrong with a key, a document or a signature."""

from collections.abc import Sequence
from pathlib import Path


class SigningError(Exception):
    """Signing or reading a signed document was refused."""


class SigningKeyError(SigningError):
    """The signing key cannot be used."""


class SigningKeyMissingError(SigningKeyError):
    """The file with the signing key or its passphrase is not there."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"No readable file {file}. Put it there, readable by the worker's user alone (mode 0400).")


class SigningKeyExposedError(SigningKeyError):
    """Others on this machine may read the signing key."""

    def __init__(self, file: Path) -> None:
        super().__init__(
            f"{file} is open to other users. Run: chmod 400 {file}; and replace the key if they may have read it."
        )


class SigningKeyUnreadableError(SigningKeyError):
    """The signing key's file cannot be opened."""


class SigningKeyPinError(SigningKeyError):
    """The security module refuses the PIN: another attempt may lock it for good."""

    def __init__(self, file: Path, token_label: str) -> None:
        super().__init__(
            f"Token {token_label} refuses the PIN in {file}. Correct it before another attempt: a token locks itself "
            "after a few."
        )


class SigningKeyUnfitError(SigningKeyError):
    """The certificate does not allow this signature: wrong purpose, expired, or not yet valid."""


class TrustUnreadableError(SigningError):
    """What was given as trusted certificates holds none."""


class DocumentUnsignableError(SigningError):
    """The document cannot take this signature."""


class OwnSignatureError(SigningError):
    """A signature just made does not verify, so the document was not let out."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(" ".join(problems))
        self.problems = tuple(problems)


class AttachmentNotFoundError(SigningError):
    """The document has no attachment with this name, or is not a readable PDF."""


class AuthorityError(SigningError):
    """An authority outside did not answer, or not as the standards ask: another attempt may go better."""


class LevelUnreachableError(SigningError):
    """No authority is named that could bring a signature to the level asked for."""


class RevocationUnknownError(SigningError):
    """Nobody said whether a certificate still holds."""


class CertificateUnprovenError(SigningError):
    """A certificate that the signature was to rest on does not hold, or not for all that is known."""
