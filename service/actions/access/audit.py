"""Recompute a project's chain of audit entries: started by hand, reads everything as of one moment, writes nothing."""

from collections.abc import Iterable
from uuid import UUID

from sqlmodel import Session

from service.storage.audit import FIRST_HASH, audit_head, chain_hash, chain_of, first_lost_head
from service.storage.tables import AuditEntry


def verify_chain(session: Session, project_id: UUID) -> int | None:
    """Return the number of the first entry that is not as it was appended, None if the chain is whole.

    The session must read everything as of one moment: the chain is held against the head row too, so that entries cut
    off its end, or put there behind the head's back, are found; and against the heads that packages state, so that a
    chain made anew from some entry on is found, though each of its links is right.
    """
    last, head_hash = audit_head(session, project_id)
    with chain_of(session, project_id) as entries:
        bad = [_first_bad(entries, last=last, head_hash=head_hash), first_lost_head(session, project_id)]
    return min((sequence for sequence in bad if sequence is not None), default=None)


def _first_bad(entries: Iterable[AuditEntry], *, last: int, head_hash: str) -> int | None:
    expected, previous_hash = 1, FIRST_HASH
    for entry in entries:
        if entry.sequence != expected:
            return min(entry.sequence, expected)
        if expected > last or not _follows(entry, previous_hash):
            return expected
        expected, previous_hash = expected + 1, entry.hash
    if expected <= last:
        return expected
    return None if previous_hash == head_hash else last


def _follows(entry: AuditEntry, previous_hash: str) -> bool:
    return entry.previous_hash == previous_hash and entry.hash == chain_hash(previous_hash, entry.entry)
