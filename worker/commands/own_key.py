"""The demo's engineer with a key of their own, made for the occasion: it stands for any tool that signs a PDF."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from cryptography.hazmat.primitives.serialization import Encoding

from service.vocabulary.words import TokenKind
from worker.commands.parties import HOLDERS, Parties, expect
from worker.package.typeface import REGULAR_FONT
from worker.signing.authority import make_demonstration_person
from worker.signing.countersign import countersign
from worker.signing.keys import SigningKey

_ENGINEER = TokenKind.ENGINEER


class OwnKey:
    """The engineer's key: only its certificate is ever sent anywhere."""

    def __init__(self, *, trust: Sequence[bytes]) -> None:
        self._key: SigningKey = make_demonstration_person("engineer", now=datetime.now(UTC))
        self._trust = trust

    @property
    def pem(self) -> bytes:
        """Return the certificate."""
        return self._key.certificate.public_bytes(Encoding.PEM)

    def register(self, parties: Parties) -> None:
        """Have the certificate registered for the engineer."""
        path = f"/v1/projects/{parties.project_id}/people/{HOLDERS[_ENGINEER]}/certificates"
        parties.ask(TokenKind.ADMINISTRATOR, "POST", path, json={"pem": self.pem.decode()})

    def sign(self, parties: Parties, package: Any, stamp_lines: Sequence[str]) -> Any:
        """Download a package, sign it here, send it in, and return what came of it."""
        path = f"/v1/packages/{package['id']}"
        file = parties.call(_ENGINEER, "GET", f"{path}/pdf")
        signed = countersign(
            file.content,
            key=self._key,
            signed_at=datetime.now(UTC),
            reason="The owner's engineer, by a key of their own",
            stamp_lines=stamp_lines,
            font_file=REGULAR_FONT,
            trust=self._trust,
        )
        headers = {"If-Match": file.headers["ETag"], "Content-Type": "application/pdf"}
        sent = parties.call(_ENGINEER, "PUT", f"{path}/signatures/engineer", content=signed.pdf, headers=headers)
        expect(sent.status_code == 202, sent.text)
        where = sent.headers["Location"]
        return parties.wait_for(
            lambda: parties.ask(_ENGINEER, "GET", where), lambda upload: upload["state"] != "checking"
        )
