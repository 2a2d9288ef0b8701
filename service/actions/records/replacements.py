"""Replace a record by another, with a reason: a crew corrects its own, like with like; the office corrects any.

Started by: a crew or the contractor's office.
Writes: how the old record ended, and the new one, in one transaction; one audit entry for each of the two acts.
Leaves: the `judge` jobs of all routes that either reaches due.
"""

from typing import Any
from uuid import UUID

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.records.accept import Answer, Receipt, accept_records, read_record
from service.actions.records.ends import end_records, lock_records
from service.actions.records.fit import refuse_times_ahead
from service.errors import BodyInvalidError, ConflictError, NotFoundError, ServiceError, WrongTokenKindError
from service.storage import records, submissions
from service.storage.tables import Record
from service.vocabulary import quantities as q
from service.vocabulary.records.record import Record as RecordValue
from service.vocabulary.records.record import read_stored_record, subject_of
from service.vocabulary.validation import Fault
from service.vocabulary.words import TokenKind


class ReplacementForm(q.Value):
    """A record that stands in another's place, and why."""

    reason: q.Text
    sent_at: q.ClockReading
    record: dict[str, Any]


def replace_record(session: Session, caller: Caller, route_id: UUID, record_id: UUID, form: ReplacementForm) -> Answer:
    """End a record and store the one in its place; the same again changes nothing."""
    refuse_times_ahead(form, now=caller.now)
    try:
        new = read_record(form.record)
        locked = lock_records(session, caller, route_id, [record_id], coming=[new])
        if not locked.records:
            raise NotFoundError(f"No record {record_id} on this route.")
        [old] = locked.records
        _refuse_unfit(session, old, new)
        if caller.kind is TokenKind.CREW:
            _refuse_to_crew(session, caller, old, new)
        ended = end_records(session, caller, locked, reason=form.reason, replaced_by=new.id)
        [answer] = accept_records(
            session, caller, route_id, sent_at=form.sent_at, items=[form.record], replaces=record_id
        )
        if answer.error is not None:
            raise answer.error
    except ServiceError as error:
        raise _seen_from_form(error) from error
    if ended and answer.receipt is not Receipt.STORED:
        caller.append_audit(session, locked.route.project_id, "record.replaced", record_id)
    return Answer(id=answer.id, receipt=Receipt.STORED if ended else Receipt.ALREADY_STORED)


def _refuse_unfit(session: Session, old: Record, new: RecordValue) -> None:
    if new.id == old.id:
        fault = Fault(pointer="/id", detail="is the record's own")
        raise BodyInvalidError("A record cannot replace itself.", faults=[fault])
    end = records.end_of(session, old.project_id, old.id)
    if end is not None and end.replaced_by != new.id:
        raise ConflictError(f"Record {old.id} was withdrawn, or replaced by another, before.")
    if records.end_of(session, old.project_id, new.id) is not None:
        raise ConflictError("The record in its place was withdrawn or replaced itself.")


def _refuse_to_crew(session: Session, caller: Caller, old: Record, new: RecordValue) -> None:
    if old.token_id != caller.token_id:
        raise WrongTokenKindError("A crew replaces its own records; the contractor's office may replace any.")
    if subject_of(read_stored_record(old.body)) != subject_of(new):
        # Otherwise a crew could do without a bad reading by replacing it with one of something else.
        same = "kind, fibres, sites, positions, side, wavelength and splicer"
        detail = f"is not about the same {same}; the contractor's office may move a record"
        raise BodyInvalidError("A crew replaces like with like.", faults=[Fault(pointer="", detail=detail)])
    if submissions.is_submitted(session, old):
        raise ConflictError("The record has been submitted; the contractor's office may replace it.")


def _seen_from_form(error: ServiceError) -> ServiceError:
    error.faults = tuple(Fault(pointer=f"/record{one.pointer}", detail=one.detail) for one in error.faults)
    return error
