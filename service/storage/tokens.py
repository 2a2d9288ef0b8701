"""Tokens: a digest, a kind, and the projects that it opens."""

from collections.abc import Collection
from uuid import UUID

from sqlmodel import Session, col, select

from service.storage.tables import Token, TokenProject


def token_with_digest(session: Session, sha256: str) -> tuple[Token, frozenset[UUID]] | None:
    """Return the token whose text has a digest, with the projects that it names."""
    rows = session.execute(
        select(Token, TokenProject.project_id)
        .outerjoin(TokenProject, col(TokenProject.token_id) == col(Token.id))
        .where(Token.token_sha256 == sha256)
    ).all()
    return (rows[0][0], frozenset(row[1] for row in rows if row[1] is not None)) if rows else None


def add_token(session: Session, token: Token, projects: Collection[UUID]) -> None:
    """Add a token that opens some projects."""
    session.add(token)
    session.flush()
    session.add_all(TokenProject(token_id=token.id, project_id=project_id) for project_id in projects)


def lock_token(session: Session, token_id: UUID) -> Token | None:
    """Return a token's row and hold its lock."""
    return session.get(Token, token_id, with_for_update=True)


def projects_opened_by(session: Session, token: Token) -> Collection[UUID]:
    """Return the projects that a token names."""
    return session.exec(select(TokenProject.project_id).where(TokenProject.token_id == token.id)).all()


def holder_of(session: Session, token_id: UUID | None) -> str | None:
    """Return who holds a token, by opaque id; None where it names nobody, or there is none."""
    token = None if token_id is None else session.get(Token, token_id)
    return None if token is None else token.holder
