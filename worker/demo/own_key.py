"""The demo's engineer with a key of their own, made for the occasion: it stands for any tool that signs a PDF."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from cryptography.hazmat.primitives.serialization import Encoding

from service.vocabulary.words import TokenKind
from worker.demo.authority.throwaway import make_demonstration_person
from worker.demo.parties import HOLDERS, Parties
from worker.demo.scenario import read_scenario
from worker.package.fonts.text_style import REGULAR_FONT
from worker.signing.fields import ENGINEER_FIELD
from worker.signing.keys.signing_key import SigningKey
from worker.signing.make.countersign import countersign
from worker.signing.trust.role_trust import RoleTrust

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

    def sign(self, parties: Parties, package: Any) -> Any:
        """Download a package, sign it here, send it in, and return what came of it."""
        path = f"/v1/packages/{package['id']}"
        file, now = parties.call(_ENGINEER, "GET", f"{path}/pdf"), datetime.now(UTC)
        person = read_scenario("people")[HOLDERS[_ENGINEER]]
        by = f"by a key of their own, {now:%Y-%m-%d %H:%M:%S} UTC"
        stamp = (f"{person['name']}, {person['role']}", by, "for the decision above")
        signed = countersign(
            file.content,
            key=self._key,
            signed_at=now,
            reason="The decision above, by the owner's engineer's own key",
            stamps=[stamp],
            font_file=REGULAR_FONT,
            field=ENGINEER_FIELD,
            trust=RoleTrust(service=self._trust),
        )
        headers = {"If-Match": file.headers["ETag"], "Content-Type": "application/pdf"}
        sent = parties.call(_ENGINEER, "PUT", f"{path}/signatures/engineer", content=signed.pdf, headers=headers)
        return parties.follow(_ENGINEER, sent, lambda upload: upload["state"] != "checking")
