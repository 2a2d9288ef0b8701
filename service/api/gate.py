"""The gate before every operation: which kinds of token it takes, and behind it a write session or a read snapshot.

A write session is committed inside the handler, before its answer leaves; a commit that fails is an error answer.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Annotated
from uuid import UUID

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy import Engine
from sqlmodel import Session

from service.actions.access.tokens import Caller, recognise
from service.errors import NotAuthenticatedError, WrongTokenKindError
from service.storage.access import find_project
from service.storage.blobs import BlobStore
from service.storage.session import ClockWatch, snapshot, transaction
from service.storage.tables import Project
from service.vocabulary.words import TokenKind

BEARER = HTTPBearer(auto_error=False, description="A token of the kind that the operation names.")
_LONGEST_REQUEST_ID = 64


def now() -> datetime:
    """Return the time, in UTC."""
    return datetime.now(UTC)


class Gate:
    """Lets in the holders of some kinds of token, each with a session of its own."""

    def __init__(self, request: Request, kinds: frozenset[TokenKind], token: str) -> None:
        self._engine: Engine = request.app.state.engine
        self._watch: ClockWatch = request.app.state.clock_watch
        self._kinds, self._token = kinds, token
        self._request_id = request.headers.get("x-request-id", "")[:_LONGEST_REQUEST_ID] or None
        self.blobs: BlobStore = request.app.state.blobs

    @contextmanager
    def write_session(self) -> Iterator[tuple[Session, Caller]]:
        """Recognise the caller and run the block in one transaction."""
        self._watch.keep(self._engine)
        with transaction(self._engine) as session:
            yield session, self._recognise(session)

    @contextmanager
    def write_session_in(self, project_id: UUID) -> Iterator[tuple[Session, Caller, Project]]:
        """Begin a write session with a project that is open to the caller."""
        with self.write_session() as (session, caller):
            yield session, caller, find_project(session, caller.projects, project_id)

    @contextmanager
    def read_snapshot(self) -> Iterator[tuple[Session, Caller]]:
        """Recognise the caller and run the block on one moment's state: its parts fit each other, and its ETag."""
        self._watch.keep(self._engine)
        with snapshot(self._engine) as session:
            yield session, self._recognise(session)

    @contextmanager
    def read_snapshot_of(self, project_id: UUID) -> Iterator[tuple[Session, Caller, Project]]:
        """Read a snapshot with a project that is open to the caller."""
        with self.read_snapshot() as (session, caller):
            yield session, caller, find_project(session, caller.projects, project_id)

    def _recognise(self, session: Session) -> Caller:
        caller = recognise(session, self._token, now=self._watch.now(), request_id=self._request_id)
        if caller.kind not in self._kinds:
            raise WrongTokenKindError(f"This takes a token of: {', '.join(sorted(self._kinds))}.")
        return caller


class Allow:
    """The dependency that makes a gate for some kinds of token."""

    def __init__(self, *kinds: TokenKind) -> None:
        self.kinds = frozenset(kinds)

    async def __call__(
        self, request: Request, credentials: Annotated[HTTPAuthorizationCredentials | None, Depends(BEARER)]
    ) -> Gate:
        """Make the gate; the token is looked up when a session begins."""
        if credentials is None:
            raise NotAuthenticatedError
        return Gate(request, self.kinds, credentials.credentials)


_CREW, _CONTRACTOR, _ENGINEER = TokenKind.CREW, TokenKind.CONTRACTOR, TokenKind.ENGINEER
_BILLING, _ADMINISTRATOR = TokenKind.BILLING, TokenKind.ADMINISTRATOR

AdministratorGate = Annotated[Gate, Depends(Allow(_ADMINISTRATOR))]
ContractorGate = Annotated[Gate, Depends(Allow(_CONTRACTOR))]
CrewGate = Annotated[Gate, Depends(Allow(_CREW))]
RecordingGate = Annotated[Gate, Depends(Allow(_CREW, _CONTRACTOR))]
EngineerGate = Annotated[Gate, Depends(Allow(_ENGINEER))]
BillingGate = Annotated[Gate, Depends(Allow(_BILLING))]
ReaderGate = Annotated[Gate, Depends(Allow(_CREW, _CONTRACTOR, _ENGINEER))]
PeopleGate = Annotated[Gate, Depends(Allow(_CONTRACTOR, _ENGINEER, _ADMINISTRATOR))]
ContractorOrEngineerGate = Annotated[Gate, Depends(Allow(_CONTRACTOR, _ENGINEER))]
PackageGate = Annotated[Gate, Depends(Allow(_CONTRACTOR, _ENGINEER, _BILLING))]
AnyGate = Annotated[Gate, Depends(Allow(*TokenKind))]
