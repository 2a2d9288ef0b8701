"""Issue, check and revoke tokens.

A token is `acc_<kind>_` with 32 random characters and a checksum of six: a typing error is told from an unknown token
without asking the database. Only its SHA-256 is kept; over 190 random bits need no slow hash.

Started by: the administrator or the command line; every request, which says who asks.
Writes: the token or its end, and one audit entry in each project that it opens.
Leaves: nothing.
"""

import secrets
import zlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated
from uuid import UUID, uuid4

from pydantic import Field
from sqlmodel import Session

from service.errors import BodyInvalidError, NotAuthenticatedError
from service.storage.access import (
    add_token,
    claim_for,
    lock_token,
    projects_among,
    projects_opened_by,
    token_with_digest,
)
from service.storage.audit import AuditEvent, NoticeDraft, append_audit
from service.storage.tables import Token
from service.vocabulary import quantities as q
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.people import SIDE_OF
from service.vocabulary.validation import Fault, faults_of_unknown
from service.vocabulary.words import TokenKind

_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_RANDOM_LENGTH = 32
_CHECK_LENGTH = 6


@dataclass(frozen=True, kw_only=True)
class Caller:
    """The holder of a valid token, at the time of one request; `projects` None opens all."""

    token_id: UUID
    kind: TokenKind
    holder: str | None
    projects: Collection[UUID] | None
    now: datetime
    request_id: str | None = None

    def append_audit(
        self,
        session: Session,
        project_id: UUID,
        action: str,
        subject: object,
        *,
        content_sha256: str | None = None,
        notices: Sequence[NoticeDraft] = (),
    ) -> None:
        """Append the audit entry of what this caller does, last before commit: the head row is locked by it."""
        event = AuditEvent(
            at=self.now,
            actor=f"{self.kind.value}:{self.token_id}",
            action=action,
            subject=str(subject),
            content_sha256=content_sha256,
            request_id=self.request_id,
        )
        append_audit(session, project_id, event, notices=notices)


class TokenForm(q.Value):
    """A token to issue."""

    kind: TokenKind
    projects: Annotated[tuple[UUID, ...], Field(max_length=100)] = ()
    holder: q.Identifier | None = None
    expires_at: q.EndInstant | None = None


def issue_token(session: Session, form: TokenForm, *, now: datetime, issuer: Caller | None) -> tuple[Token, str]:
    """Store a new token and return it with its text, shown this once; an issuer of None is the command line."""
    kind, projects = form.kind, form.projects
    if bool(projects) == (kind is TokenKind.ADMINISTRATOR):
        raise BodyInvalidError(
            "A token opens the projects it names; an administrator's opens all and names none.",
            faults=[Fault(pointer="/projects", detail="name at least one, or none for an administrator")],
        )
    known = projects_among(session, projects)
    faults = faults_of_unknown("/projects", projects, known=known, detail="is not a project")
    if faults:
        raise BodyInvalidError("The token names what is not there.", faults=faults)
    _refuse_holder_of_other_side(session, kind, form.holder, known)
    text = _new_text(kind)
    token = Token(
        id=uuid4(),
        kind=kind,
        token_sha256=sha256_hex(text.encode()),
        holder=form.holder,
        created_at=now,
        expires_at=form.expires_at,
    )
    add_token(session, token, known)
    for project_id in sorted(known):
        if issuer is None:
            event = AuditEvent(at=now, actor="command line", action="token.issued", subject=str(token.id))
            append_audit(session, project_id, event)
        else:
            issuer.append_audit(session, project_id, "token.issued", token.id)
    return token, text


def revoke_token(session: Session, caller: Caller, token_id: UUID) -> None:
    """Revoke a token; revoking it again changes nothing."""
    token = lock_token(session, token_id)
    if token.revoked_at is not None:
        return
    token.revoked_at = caller.now
    for project_id in sorted(projects_opened_by(session, token)):
        caller.append_audit(session, project_id, "token.revoked", token_id)


def recognise(session: Session, text: str, *, now: datetime, request_id: str | None) -> Caller:
    """Return who holds a token; unknown, expired and revoked ones get the same answer."""
    found = token_with_digest(session, sha256_hex(text.encode())) if _has_valid_form(text) else None
    if found is None:
        raise NotAuthenticatedError
    token, projects = found
    if token.revoked_at is not None or (token.expires_at is not None and token.expires_at <= now):
        raise NotAuthenticatedError
    return Caller(
        token_id=token.id,
        kind=token.kind,
        holder=token.holder,
        projects=None if token.kind is TokenKind.ADMINISTRATOR else projects,
        now=now,
        request_id=request_id,
    )


def _refuse_holder_of_other_side(
    session: Session, kind: TokenKind, holder: str | None, projects: Collection[UUID]
) -> None:
    """Make who holds a token a person of the side that it acts for, refused where that is the other's."""
    side = SIDE_OF.get(kind)
    if holder is None or side is None:
        return
    if not all(claim_for(session, project_id, holder, side) for project_id in sorted(projects)):
        fault = Fault(pointer="/holder", detail=f"is a person of the other side, and {kind.value} acts for this one")
        raise BodyInvalidError("Who holds a token is of the side that it acts for.", faults=[fault])


def _new_text(kind: TokenKind) -> str:
    random = "".join(secrets.choice(_ALPHABET) for _ in range(_RANDOM_LENGTH))
    return f"acc_{kind.value}_{random}{_check(random)}"


def _check(random: str) -> str:
    number, characters = zlib.crc32(random.encode()), []
    for _ in range(_CHECK_LENGTH):
        number, index = divmod(number, len(_ALPHABET))
        characters.append(_ALPHABET[index])
    return "".join(characters)


def _has_valid_form(text: str) -> bool:
    mark, _, rest = text.partition("_")
    kind, _, secret = rest.partition("_")
    return (
        mark == "acc"
        and kind in set(TokenKind)
        and len(secret) == _RANDOM_LENGTH + _CHECK_LENGTH
        and secret.isascii()
        and _check(secret[:_RANDOM_LENGTH]) == secret[_RANDOM_LENGTH:]
    )
