"""The project's head row, the notices and audit entries that it numbers, and the chain of what was done.

The row is locked last, just before commit, by every transaction that changes something: so the numbers are gapless and
in commit order. (Taken first it serialises whole requests: 82 transactions a second instead of 648 were measured.)
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import insert, update
from sqlmodel import Session, col, func, select

from service.storage.rows import of_route
from service.storage.tables import AuditEntry, Notice, Package, ProjectHead, Route
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.instants import canonical_time

# A notice that lacks only its number: given the number, it is the notice as it is told.
NoticeDraft = Callable[[int], Notice]
FIRST_HASH = "0" * 64
_ENTRIES, _HEADS = AuditEntry.metadata.tables["audit_entry"], ProjectHead.metadata.tables["project_head"]
_ROWS_AT_ONCE = 1000


@dataclass(frozen=True, kw_only=True)
class AuditEvent:
    """What was done, by whom, to what: one audit entry."""

    at: datetime
    actor: str
    action: str
    subject: str
    content_sha256: str | None = None
    request_id: str | None = None


def append_audit(session: Session, project_id: UUID, event: AuditEvent, *, notices: Sequence[NoticeDraft] = ()) -> None:
    """Give the notices their numbers and append the event to the audit chain: a transaction does this last."""
    session.flush()
    head = lock_head(session, project_id)
    for draft in notices:
        head.notice_sequence += 1
        session.add(draft(head.notice_sequence))
    session.flush()
    sequence = head.audit_sequence + 1
    entry = canonical_json(_entry(event, sequence)).decode()
    link = chain_hash(head.audit_hash, entry)
    row = {"project_id": project_id, "sequence": sequence, "entry": entry, "previous_hash": head.audit_hash}
    # Entry and head in one statement: everybody who changes the project waits for this lock.
    added = insert(_ENTRIES).values(**row, hash=link).returning(_ENTRIES.c.sequence).cte("added")
    moved = update(_HEADS).where(_HEADS.c.project_id == project_id).values(audit_sequence=sequence, audit_hash=link)
    session.execute(moved.add_cte(added))
    session.expire(head)


def lock_head(session: Session, project_id: UUID) -> ProjectHead:
    """Return the project's head row and hold its lock."""
    statement = select(ProjectHead).where(ProjectHead.project_id == project_id).with_for_update()
    return session.exec(statement.execution_options(populate_existing=True)).one()


def chain_hash(previous_hash: str, entry: str) -> str:
    """Return the hash that links an entry to the one before it."""
    return sha256_hex(previous_hash.encode() + entry.encode())


def audit_head(session: Session, project_id: UUID) -> tuple[int, str]:
    """Return the number and hash of the newest audit entry."""
    head = session.exec(select(ProjectHead).where(col(ProjectHead.project_id) == project_id)).one()
    return head.audit_sequence, head.audit_hash


def hash_of_entry(session: Session, project_id: UUID, sequence: int) -> str | None:
    """Return the hash of an audit entry as the chain is now; None where it is gone."""
    entry = session.get(AuditEntry, (project_id, sequence))
    return None if entry is None else entry.hash


@contextmanager
def chain_of(session: Session, project_id: UUID) -> Iterator[Iterator[AuditEntry]]:
    """Give a project's audit entries in order, some at a time from the server."""
    in_order = select(AuditEntry).where(AuditEntry.project_id == project_id).order_by(col(AuditEntry.sequence))
    with session.exec(in_order.execution_options(yield_per=_ROWS_AT_ONCE)) as entries:
        yield iter(entries)


def first_lost_head(session: Session, project_id: UUID) -> int | None:
    """Return the first entry that a package states as its audit head and that is another now, or gone."""
    is_entry = (col(AuditEntry.project_id) == Package.project_id) & (col(AuditEntry.sequence) == Package.audit_sequence)
    stated = select(func.min(Package.audit_sequence)).join(AuditEntry, is_entry, isouter=True)
    is_lost = col(AuditEntry.hash).is_distinct_from(Package.audit_hash)
    return session.exec(stated.where(Package.project_id == project_id, is_lost)).one()


def notices_after(session: Session, project_id: UUID, sequence: int, *, limit: int) -> Sequence[Notice]:
    """Return a project's notices above a number, in order: gapless, in commit order, for ever."""
    statement = select(Notice).where(Notice.project_id == project_id, col(Notice.sequence) > sequence)
    return session.exec(statement.order_by(col(Notice.sequence)).limit(limit)).all()


def told_of(session: Session, route: Route, type_: str) -> set[tuple[str, int]]:
    """Return the segments, with the number of the acceptance, of which billing has had a type of notice."""
    told = select(Notice.segment_id, Notice.acceptance_number).where(*of_route(Notice, route), Notice.type == type_)
    return {(segment, number) for segment, number in session.exec(told)}


def _entry(event: AuditEvent, sequence: int) -> dict[str, Any]:
    said = {name: value for name, value in asdict(event).items() if value is not None}
    return {**said, "sequence": sequence, "at": canonical_time(event.at)}
