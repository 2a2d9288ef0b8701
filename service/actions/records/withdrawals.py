"""Withdraw records with a reason: the contractor's office alone may do without a record.

Started by: the contractor's office.
Writes: how each record ended; one audit entry.
Leaves: the `judge` jobs of all routes that they reach due.
"""

from typing import Annotated
from uuid import UUID

from pydantic import Field
from sqlmodel import Session

from service.actions.caller import Caller
from service.actions.records.ends import end_records, lock_records
from service.errors import BodyInvalidError
from service.storage.audit import append_audit
from service.vocabulary import quantities as q
from service.vocabulary.design.rules import Fault


class WithdrawalForm(q.Value):
    """Records that no longer count, and why."""

    records: Annotated[tuple[UUID, ...], Field(min_length=1, max_length=500)]
    reason: q.Text


def withdraw_records(session: Session, caller: Caller, route_id: UUID, form: WithdrawalForm) -> int:
    """Withdraw records of a route, all or none; those that ended before stay as they are. Return how many are new."""
    locked = lock_records(session, caller, route_id, form.records)
    found = {record.id for record in locked.records}
    faults = [
        Fault(pointer=f"/records/{index}", detail="is not a record posted to this route")
        for index, record_id in enumerate(form.records)
        if record_id not in found
    ]
    if faults:
        raise BodyInvalidError("The withdrawal names what is not there.", faults=faults)
    ended = end_records(session, caller, locked, reason=form.reason, replaced_by=None)
    if ended:
        event = caller.event("records.withdrawn", ",".join(map(str, ended)))
        append_audit(session, locked.route.project_id, event)
    return len(ended)
