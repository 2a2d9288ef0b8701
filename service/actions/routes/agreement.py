"""Agree to a design that was proposed, or refuse it with the reason: lengths, budgets and money follow from it.

Started by: the engineer.
Writes: the reply; the route's design as agreed, with its sites; one audit entry.
Leaves: where another revision came in force, the route's `judge` job due for all its fibres.
"""

from uuid import UUID

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import refuse_while_submitted
from service.actions.routes.cables import hold_cable
from service.actions.routes.design import kind_faults, put_in_force
from service.errors import ConflictError, WrongTokenKindError
from service.storage import access, routes
from service.storage.routes import RepliedRevision, find_revision, reply_to
from service.storage.session import add_rows
from service.storage.tables import DesignReply, Route
from service.vocabulary import quantities as q
from service.vocabulary.states import RevisionState


class DesignRefusalForm(q.Value):
    """Which revision the engineer refuses, and why: the contractor reads it."""

    revision: q.RowNumber
    reason: q.Text


def agree_design(session: Session, caller: Caller, route_id: UUID, revision: int) -> Route:
    """Put a proposed design in force as agreed; the one that is agreed already gives the route as it is."""
    route = routes.lock_with_sites(session, caller.projects, route_id)
    if route.agreed_design_revision == revision:
        return route
    proposed = _proposed(session, caller, route, revision)
    refuse_while_submitted(session, route)
    faults = kind_faults(session, route, routes.parse_design(proposed.row.document).design)
    if faults:
        said = "; ".join(f"{fault.pointer} {fault.detail}" for fault in faults)
        raise ConflictError(f"Another route has come to share a site of it as another kind: {said}.")
    _add_reply(session, caller, proposed, reason=None)
    routes.raise_version(route)
    is_judged_by_it = route.design_revision == revision
    route.design_revision = route.agreed_design_revision = revision
    route.proposed_design_revision = None
    hold_cable(session, route)
    if not is_judged_by_it:
        put_in_force(session, route, revision)
    _append_audit(session, caller, proposed, "design.agreed")
    return route


def refuse_design(session: Session, caller: Caller, route_id: UUID, form: DesignRefusalForm) -> Route:
    """Refuse a proposed design with the reason; what is in force stays."""
    route = routes.lock_route(session, caller.projects, route_id)
    said = reply_to(session, route, form.revision)
    if said is not None and said.reason == form.reason:
        return route
    proposed = _proposed(session, caller, route, form.revision)
    _add_reply(session, caller, proposed, reason=form.reason)
    route.proposed_design_revision = None
    hold_cable(session, route)
    routes.raise_version(route)
    _append_audit(session, caller, proposed, "design.refused")
    return route


def _proposed(session: Session, caller: Caller, route: Route, revision: int) -> RepliedRevision:
    """Return what the engineer replies to, refused where it is not what is proposed or is the caller's own."""
    if route.proposed_design_revision != revision:
        raise ConflictError(f"Design revision {revision} is not what the contractor proposes for this route.")
    found = find_revision(session, route, revision)
    assert found.state is RevisionState.PROPOSED
    if caller.holder is not None and caller.holder == access.holder_of(session, found.row.token_id):
        raise WrongTokenKindError("Who proposes a design cannot reply to it.")
    return found


def _add_reply(session: Session, caller: Caller, proposed: RepliedRevision, *, reason: str | None) -> None:
    row = proposed.row
    reply = DesignReply(
        project_id=row.project_id,
        route_id=row.route_id,
        revision=row.revision,
        is_agreed=reason is None,
        reason=reason,
        replied_at=caller.now,
        token_id=caller.token_id,
    )
    add_rows(session, [reply])


def _append_audit(session: Session, caller: Caller, proposed: RepliedRevision, action: str) -> None:
    row = proposed.row
    subject = f"{row.route_id}/{row.revision}"
    caller.append_audit(session, row.project_id, action, subject, content_sha256=row.sha256)
