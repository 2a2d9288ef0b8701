"""A security module in software, with a key of the throwaway authority's inside."""

import os
import subprocess
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from tests.outside_tools import require_tool
from worker.demo.authority.certificates import issue
from worker.demo.authority.throwaway import REVOCATION_LIST_URL, DemonstrationAuthority
from worker.signing.keys.security_module import KeyModule

MODULES = (Path("/usr/lib/softhsm/libsofthsm2.so"), Path("/usr/lib64/pkcs11/libsofthsm2.so"))
TOKEN, KEY, PIN, OFFICERS_PIN = "route acceptance", "seal", "271828", "314159"
AnyKey = ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey


@dataclass(frozen=True, kw_only=True)
class SoftModule:
    """A token's place, and how to put keys into it."""

    folder: Path
    place: KeyModule
    environment: dict[str, str]

    def import_key(self, key: AnyKey, *, label: str, identifier: str) -> None:
        """Put a key into the token; the file that it came in is gone afterwards."""
        file = self.folder / "imported.pem"
        file.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
        self._run("--import", str(file), "--token", TOKEN, "--label", label, "--id", identifier, "--pin", PIN)
        file.unlink()

    def init_token(self) -> None:
        """Make the token."""
        self._run("--init-token", "--free", "--label", TOKEN, "--so-pin", OFFICERS_PIN, "--pin", PIN)

    def _run(self, *arguments: str) -> None:
        command = [require_tool("softhsm2-util"), *arguments]
        environment = {**os.environ, **self.environment}
        subprocess.run(command, check=True, capture_output=True, text=True, timeout=60, env=environment)


def make_module(
    folder: Path, *, authority: DemonstrationAuthority, now: datetime, key: AnyKey, patch: pytest.MonkeyPatch
) -> SoftModule:
    """Make a token with one key, whose certificate the authority issues."""
    require_tool("softhsm2-util")
    module_file = next(file for file in MODULES if file.exists())
    tokens = folder / "tokens"
    tokens.mkdir(parents=True)
    configuration = folder / "softhsm2.conf"
    configuration.write_text(f"directories.tokendir = {tokens}\nobjectstore.backend = file\nlog.level = ERROR\n")
    patch.setenv("SOFTHSM2_CONF", str(configuration))
    certificate = issue(
        key.public_key(),
        role="seal",
        root=authority.root,
        issuer_key=authority.root_key,
        revocation_url=REVOCATION_LIST_URL,
        now=now,
    )
    module = SoftModule(
        folder=folder,
        environment={"SOFTHSM2_CONF": str(configuration)},
        place=KeyModule(
            module_file=module_file,
            token_label=TOKEN,
            key_label=KEY,
            pin_file=_private(folder / "pin", PIN.encode()),
            certificate_file=_chain(folder / "seal.pem", certificate, authority.root),
        ),
    )
    module.init_token()
    module.import_key(key, label=KEY, identifier="01")
    return module


def _private(file: Path, content: bytes) -> Path:
    file.write_bytes(content)
    file.chmod(0o400)
    return file


def _chain(file: Path, *certificates: x509.Certificate) -> Path:
    file.write_bytes(b"".join(one.public_bytes(Encoding.PEM) for one in certificates))
    return file
