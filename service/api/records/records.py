"""Records: posted in batches, read, withdrawn and replaced."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, Field, TypeAdapter, ValidationError
from pydantic_core import from_json

from service.actions.records import ends, replacements
from service.actions.records.accept import Answer, Receipt, accept_records
from service.actions.records.ends import WithdrawalForm
from service.actions.records.fit import refuse_times_ahead
from service.actions.records.replacements import ReplacementForm
from service.api.cursors import DEFAULT_LIMIT, MOST, read_cursor, write_cursor
from service.api.gate import ContractorOrEngineerGate, CrewGate, RecordingGate
from service.api.problems import Problem
from service.api.routing import CheckedRoute
from service.errors import BodyInvalidError, BodyTooLargeError, BodyUnreadableError
from service.settings import MAX_BATCH
from service.storage.records import ListedRecord, list_records
from service.storage.routes import find_route
from service.vocabulary import quantities as q
from service.vocabulary.validation import faults_of

router = APIRouter(prefix="/v1/routes/{route_id}", route_class=CheckedRoute, tags=["records"])
_STATUS = {Receipt.STORED: 201, Receipt.ALREADY_STORED: 200, Receipt.CONFLICT: 409, Receipt.REFUSED: 422}
_MOST_DIGITS = 18
_POSITION = TypeAdapter(tuple[Annotated[int, Field(ge=0, lt=2**63)], UUID])


class RecordBatch(q.Value):
    """Records as a field app sends them: each is stored or refused by itself."""

    sent_at: q.ClockReading
    records: Annotated[list[Any], Field(min_length=1)]


class RecordReceipt(BaseModel):
    """What became of one record."""

    id: str | None
    outcome: str
    status: int
    problem: Problem | None = None


class BatchAnswer(BaseModel):
    """What became of each record, in request order, and how many were not taken."""

    failed: int
    results: list[RecordReceipt]


class WithdrawalAnswer(BaseModel):
    """How many records ended with this request, an engineer's annulled; those that were so before are not counted."""

    withdrawn: int


class StoredRecord(BaseModel):
    """A record as it is kept, when it came, whether it still counts, and why not."""

    id: UUID
    received_at: datetime
    sent_at: datetime
    clock_is_flagged: bool
    sha256: str
    is_ended: bool
    end_reason: str | None
    annulment_reason: str | None
    replaced_by: UUID | None
    record: dict[str, Any]


class RecordPage(BaseModel):
    """Records in order of arrival."""

    items: list[StoredRecord]
    next: str | None


# The one body that is not parsed by the framework: one parse for the batch, then each record is validated by itself,
# so that a bad one does not cost the others. The document's schema comes from service.api.openapi.
@router.post("/records", status_code=207, response_model=BatchAnswer)
def post_records(gate: CrewGate, route_id: UUID, request: Request) -> Response:
    """Post 1 to 500 records: each is stored or refused by itself, and the whole batch may be sent again."""
    batch = _read_batch(request._body)
    with gate.write_session() as (session, caller):
        refuse_times_ahead(batch, now=caller.now)
        answers = accept_records(session, caller, route_id, sent_at=batch.sent_at, items=batch.records)
    results = [_receipt(answer) for answer in answers]
    body = {"failed": sum(one["status"] >= 400 for one in results), "results": results}
    return Response(orjson.dumps(body), status_code=207, media_type="application/json")


@router.get("/records")
def read_records(
    gate: ContractorOrEngineerGate,
    route_id: UUID,
    response: Response,
    cursor: str | None = None,
    limit: Annotated[int, Query(ge=1, le=MOST)] = DEFAULT_LIMIT,
) -> RecordPage:
    """Read a route's records in order of arrival, those too that no longer count."""
    of = f"records/{route_id}"
    after = None if cursor is None else read_cursor(cursor, of=of, form=_POSITION)
    with gate.read_snapshot() as (session, caller):
        route = find_route(session, caller.projects, route_id)
        rows = list_records(session, route, after=after, limit=limit + 1)
    following = None
    if len(rows) > limit:
        last = rows[limit - 1].record
        following = write_cursor([last.route_version, str(last.id)], of=of)
        response.headers["Link"] = f'</v1/routes/{route_id}/records?limit={limit}&cursor={following}>; rel="next"'
    return RecordPage(items=[_stored(row) for row in rows[:limit]], next=following)


@router.post("/withdrawals")
def withdraw_records(gate: ContractorOrEngineerGate, route_id: UUID, form: WithdrawalForm) -> WithdrawalAnswer:
    """Withdraw records with a reason: they stay, and no longer count.

    A splice, a termination or an opening goes on voiding the tests before it, whoever withdrew or replaced it, until
    the engineer withdraws it: that is the engineer's word that the work was never done. An engineer withdraws nothing
    else.
    """
    with gate.write_session() as (session, caller):
        return WithdrawalAnswer(withdrawn=ends.withdraw_records(session, caller, route_id, form))


@router.post("/records/{record_id}/replacement")
def replace_record(gate: RecordingGate, route_id: UUID, record_id: UUID, form: ReplacementForm) -> RecordReceipt:
    """Store a record in another's place, with a reason."""
    with gate.write_session() as (session, caller):
        answer = replacements.replace_record(session, caller, route_id, record_id, form)
    return RecordReceipt.model_validate(_receipt(answer))


def _read_batch(body: bytes) -> RecordBatch:
    content = _parse(body)
    records = content.get("records") if isinstance(content, Mapping) else None
    if isinstance(records, Sequence) and len(records) > MAX_BATCH:
        raise BodyTooLargeError(f"At most {MAX_BATCH} records are taken at once.")
    try:
        return RecordBatch.model_validate(content)
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False)
        raise BodyInvalidError("The body is not a batch of records.", faults=faults_of(found)) from error


def _parse(body: bytes) -> Any:
    try:
        return from_json(body)
    except ValueError:
        # The fast parser gives up on a number or a text that one record holds; the slow one reads on, and only that
        # record is refused. NaN and numbers too large to count become floats that no quantity takes.
        try:
            return json.loads(body, parse_int=_parse_whole_number)
        except (ValueError, RecursionError) as error:
            raise BodyUnreadableError("The body is not JSON.") from error


def _parse_whole_number(digits: str) -> int | float:
    return int(digits) if len(digits) <= _MOST_DIGITS else float(digits)


def _receipt(answer: Answer) -> dict[str, Any]:
    receipt = {"id": answer.id, "outcome": answer.receipt.value, "status": _STATUS[answer.receipt]}
    return receipt if answer.error is None else receipt | {"problem": answer.error.problem()}


def _stored(row: ListedRecord) -> StoredRecord:
    record, end = row.record, row.end
    return StoredRecord(
        id=record.id,
        received_at=record.received_at,
        sent_at=record.sent_at,
        clock_is_flagged=record.clock_is_flagged,
        sha256=record.sha256,
        is_ended=end is not None,
        end_reason=None if end is None else end.reason,
        annulment_reason=None if row.annulment is None else row.annulment.reason,
        replaced_by=None if end is None else end.replaced_by,
        record=orjson.loads(record.body),
    )
