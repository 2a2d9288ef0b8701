"""Who is asking, and what for."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from service.storage.audit import AuditEvent
from service.vocabulary.words import TokenKind


@dataclass(frozen=True, kw_only=True)
class Caller:
    """The holder of a valid token, at the time of one request; `projects` None opens all."""

    token_id: UUID
    kind: TokenKind
    holder: str | None
    projects: Collection[UUID] | None
    now: datetime
    request_id: str | None = None

    def event(self, action: str, subject: object, *, content_sha256: str | None = None) -> AuditEvent:
        """Return the audit entry of what this caller does."""
        return AuditEvent(
            at=self.now,
            actor=f"{self.kind.value}:{self.token_id}",
            action=action,
            subject=str(subject),
            content_sha256=content_sha256,
            request_id=self.request_id,
        )
