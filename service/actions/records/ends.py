"""End records, by withdrawing them or for another: they stay as they came, and no longer count.

Work that ended goes on voiding the tests before it, for whoever withdraws it could revive them by that, until the
engineer's word annuls it.

Started by: a withdrawal or a replacement.
Writes: how each record ended, and what is annulled, under the locks of every route that it reaches; their versions.
Leaves: the `judge` jobs of those routes due, for the fibres that the records mattered to.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated
from uuid import UUID

from pydantic import Field
from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import judge_after
from service.errors import BodyInvalidError
from service.storage.records import annulled_among, ended_among, records_posted, routes_linked
from service.storage.routes import find_route, lock_reached
from service.storage.session import add_rows
from service.storage.tables import Record, RecordAnnulment, RecordEnd, Route
from service.vocabulary import quantities as q
from service.vocabulary.records.record import Record as RecordValue
from service.vocabulary.records.record import reach_of, read_stored_record
from service.vocabulary.records.words import RecordKind
from service.vocabulary.validation import Fault, faults_of_unknown
from service.vocabulary.words import TokenKind


@dataclass(frozen=True, kw_only=True)
class LockedRecords:
    """Records of one route, with every route that is locked for their sake."""

    route: Route
    routes: Sequence[Route]
    records: Sequence[Record]


def lock_records(
    session: Session,
    caller: Caller,
    route_id: UUID,
    record_ids: Sequence[UUID],
    *,
    coming: Sequence[RecordValue] = (),
) -> LockedRecords:
    """Return those of the records that were posted to the route, under the locks that ending them needs.

    The routes of records that are coming in the same transaction are locked along: no lock is taken after this.
    """
    route = find_route(session, caller.projects, route_id)
    # Read before the lock, to know what to lock: a record never changes.
    records = records_posted(session, route, record_ids)
    ending = [read_stored_record(record.body) for record in records]
    return LockedRecords(
        route=route, routes=lock_reached(session, route, reach_of([*ending, *coming])), records=records
    )


def end_records(
    session: Session, caller: Caller, locked: LockedRecords, *, reason: str, replaced_by: UUID | None
) -> list[UUID]:
    """End those of the locked records that count until now, and return which; their fibres are judged anew."""
    project_id = locked.route.project_id
    ended = ended_among(session, project_id, [one.id for one in locked.records])
    new = sorted((record for record in locked.records if record.id not in ended), key=lambda record: record.id)
    ends = [
        RecordEnd(
            project_id=project_id,
            record_id=record.id,
            replaced_by=replaced_by,
            reason=reason,
            ended_at=caller.now,
            token_id=caller.token_id,
        )
        for record in new
    ]
    add_rows(session, ends)
    _judge_after(session, locked, new)
    return [record.id for record in new]


def _judge_after(session: Session, locked: LockedRecords, changed: Sequence[Record]) -> None:
    # Lids, splicing that opened them, and calibrations are about other routes too.
    linked = routes_linked(session, locked.route.project_id, [record.id for record in changed])
    for route in locked.routes:
        own = [one for one in changed if (one.id, route.id) in linked]
        if own:
            read = [read_stored_record(record.body) for record in own]
            judge_after(session, route, read, posted_to=locked.route, is_urgent=True)


# Work that voids the tests before it; what was measured only its side withdraws.
_VOIDING = {RecordKind.SPLICE.value, RecordKind.TERMINATION.value, RecordKind.CLOSURE_STATE.value}


class WithdrawalForm(q.Value):
    """Records that no longer count, and why."""

    records: Annotated[tuple[UUID, ...], Field(min_length=1, max_length=500)]
    reason: q.Text


def withdraw_records(session: Session, caller: Caller, route_id: UUID, form: WithdrawalForm) -> int:
    """Withdraw records of a route, all or none; those that ended before stay as they are. Return how many are new.

    The engineer's withdrawal annuls: that of work which ended before too.
    """
    locked = lock_records(session, caller, route_id, form.records)
    found = {record.id for record in locked.records}
    faults = faults_of_unknown("/records", form.records, known=found, detail="is not a record posted to this route")
    if faults:
        raise BodyInvalidError("The withdrawal names what is not there.", faults=faults)
    if caller.kind is TokenKind.ENGINEER:
        return _annul_records(session, caller, locked, form)
    ended = end_records(session, caller, locked, reason=form.reason, replaced_by=None)
    if ended:
        caller.append_audit(session, locked.route.project_id, "records.withdrawn", ",".join(map(str, ended)))
    return len(ended)


def _annul_records(session: Session, caller: Caller, locked: LockedRecords, form: WithdrawalForm) -> int:
    """Keep the engineer's word that what some records say was never done; end those that have not ended."""
    faults = _faults_of_no_work(locked.records, form)
    if faults:
        raise BodyInvalidError("The engineer annuls work that voids tests, and nothing else.", faults=faults)
    project_id = locked.route.project_id
    end_records(session, caller, locked, reason=form.reason, replaced_by=None)
    known = annulled_among(session, project_id, form.records)
    new = sorted((record for record in locked.records if record.id not in known), key=lambda record: record.id)
    words = [
        RecordAnnulment(
            project_id=project_id,
            record_id=record.id,
            reason=form.reason,
            annulled_at=caller.now,
            token_id=caller.token_id,
        )
        for record in new
    ]
    add_rows(session, words)
    _judge_after(session, locked, new)
    if new:
        caller.append_audit(session, project_id, "records.annulled", ",".join(str(record.id) for record in new))
    return len(new)


def _faults_of_no_work(records: Sequence[Record], form: WithdrawalForm) -> list[Fault]:
    kinds = {record.id: record.kind for record in records}
    return [
        Fault(pointer=f"/records/{index}", detail="is no splice, termination or closure state")
        for index, id_ in enumerate(form.records)
        if kinds[id_] not in _VOIDING
    ]
