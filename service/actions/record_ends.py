"""Withdraw and replace records, with a reason: nothing that came in is ever changed or removed."""

from collections.abc import Sequence
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field
from sqlmodel import Session, col, select

from service.actions.caller import Caller
from service.actions.follow import judge_again
from service.actions.records import Answer, Receipt, accept_records
from service.errors import BodyInvalidError, ConflictError, NotFoundError, ServiceError, WrongTokenKindError
from service.storage.head import record_deed
from service.storage.routes import lock_all, raise_version
from service.storage.tables import WHOLE_SITE, Record, RecordEnd, RecordFibre, Route, SubmissionRecord
from service.vocabulary import quantities as q
from service.vocabulary.design_rules import Fault
from service.vocabulary.words import TokenKind


class WithdrawalForm(q.Value):
    """Records that no longer count, and why."""

    records: Annotated[tuple[UUID, ...], Field(min_length=1, max_length=500)]
    reason: q.Text


class ReplacementForm(q.Value):
    """A record that stands in another's place, and why."""

    reason: q.Text
    sent_at: q.Instant
    record: dict[str, Any]


def withdraw_records(session: Session, caller: Caller, route_id: UUID, form: WithdrawalForm) -> int:
    """Withdraw records of a route, all or none; those that ended before stay as they are. Return how many are new."""
    routes = _lock_all_touched(session, caller, route_id, form.records)
    route = next(one for one in routes if one.id == route_id)
    found = {record.id for record in _find_records(session, route, form.records)}
    faults = [
        Fault(pointer=f"/records/{index}", detail="is not a record posted to this route")
        for index, record_id in enumerate(form.records)
        if record_id not in found
    ]
    if faults:
        raise BodyInvalidError("The withdrawal names what is not there.", faults=faults)
    return _end(session, caller, route, routes, form.records, reason=form.reason, replaced_by=None)


def replace_record(session: Session, caller: Caller, route_id: UUID, record_id: UUID, form: ReplacementForm) -> Answer:
    """Store a record in another's place; a crew replaces its own, before the record is submitted."""
    routes = _lock_all_touched(session, caller, route_id, [record_id])
    route = next(one for one in routes if one.id == route_id)
    found = _find_records(session, route, [record_id])
    if not found:
        raise NotFoundError(f"No record {record_id} on this route.")
    _refuse_if_not_own(session, caller, found[0])
    [answer] = accept_records(session, caller, route_id, sent_at=form.sent_at, items=[form.record])
    if answer.error is not None:
        raise _seen_from_form(answer.error)
    new_id = UUID(answer.id)
    if new_id == record_id:
        raise BodyInvalidError(
            "A record can not replace itself.", faults=[Fault(pointer="/record/id", detail="is the record's own")]
        )
    end = session.get(RecordEnd, (route.project_id, record_id))
    if end is not None and end.replaced_by != new_id:
        raise ConflictError(f"Record {record_id} was withdrawn, or replaced by another, before.")
    ended = _end(session, caller, route, routes, [record_id], reason=form.reason, replaced_by=new_id)
    return Answer(id=answer.id, receipt=Receipt.STORED if ended else Receipt.ALREADY_STORED)


def _seen_from_form(error: ServiceError) -> ServiceError:
    error.faults = tuple(Fault(pointer=f"/record{one.pointer}", detail=one.detail) for one in error.faults)
    return error


def _lock_all_touched(session: Session, caller: Caller, route_id: UUID, record_ids: Sequence[UUID]) -> Sequence[Route]:
    # A lid's record reaches every route through its closure; all are locked in order of id.
    touched = select(RecordFibre.route_id).where(col(RecordFibre.record_id).in_(record_ids))
    statement = select(Route).where((col(Route.id) == route_id) | col(Route.id).in_(touched))
    if caller.projects is not None:
        statement = statement.where(col(Route.project_id).in_(caller.projects))
    routes = lock_all(session, statement)
    if all(route.id != route_id for route in routes):
        raise NotFoundError(f"No route {route_id}.")
    return routes


def _find_records(session: Session, route: Route, record_ids: Sequence[UUID]) -> Sequence[Record]:
    return session.exec(
        select(Record).where(
            Record.project_id == route.project_id, Record.route_id == route.id, col(Record.id).in_(record_ids)
        )
    ).all()


def _refuse_if_not_own(session: Session, caller: Caller, record: Record) -> None:
    if caller.kind is not TokenKind.CREW:
        return
    if record.token_id != caller.token_id:
        raise WrongTokenKindError("A crew replaces its own records; the contractor's office may replace any.")
    is_submitted = session.exec(
        select(SubmissionRecord.record_id)
        .where(SubmissionRecord.project_id == record.project_id, SubmissionRecord.record_id == record.id)
        .limit(1)
    ).first()
    if is_submitted is not None:
        raise ConflictError("The record has been submitted; the contractor's office may replace it.")


def _end(
    session: Session,
    caller: Caller,
    route: Route,
    routes: Sequence[Route],
    record_ids: Sequence[UUID],
    *,
    reason: str,
    replaced_by: UUID | None,
) -> int:
    ended = set(
        session.exec(
            select(RecordEnd.record_id).where(
                RecordEnd.project_id == route.project_id, col(RecordEnd.record_id).in_(record_ids)
            )
        )
    )
    new = sorted(set(record_ids) - ended)
    if not new:
        return 0
    session.add_all(
        RecordEnd(
            project_id=route.project_id,
            record_id=record_id,
            replaced_by=replaced_by,
            reason=reason,
            ended_at=caller.now,
            token_id=caller.token_id,
        )
        for record_id in new
    )
    session.flush()
    for one in routes:
        _judge_without(session, one, new)
    action = "records.withdrawn" if replaced_by is None else "record.replaced"
    record_deed(session, route.project_id, caller.deed(action, ",".join(map(str, new))))
    return len(new)


def _judge_without(session: Session, route: Route, record_ids: Sequence[UUID]) -> None:
    numbers = set(
        session.exec(
            select(RecordFibre.fibre).where(
                RecordFibre.project_id == route.project_id,
                RecordFibre.route_id == route.id,
                col(RecordFibre.record_id).in_(record_ids),
            )
        )
    )
    if not numbers:
        return
    raise_version(route)
    judge_again(session, route, None if WHOLE_SITE in numbers else numbers, is_urgent=True)
