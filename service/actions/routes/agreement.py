"""Agree to a design that was proposed, or refuse it with the reason: lengths, budgets and money follow from it.

Started by: the engineer.
Writes: the reply; the route's design as agreed, with its sites; of every other route that passes cable of which it says
other facts, a revision with these, agreed to as well; one audit entry.
Leaves: where another revision came in force, the route's `judge` job due for all its fibres.
"""

from collections.abc import Sequence
from uuid import UUID

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import refuse_while_submitted
from service.actions.routes.cables import Corrected, correct_others, hold_cable
from service.actions.routes.design import add_revision, checked_design, kind_faults, put_in_force
from service.errors import ConflictError, RouteSubmittedError, WrongTokenKindError
from service.storage import access, routes, submissions
from service.storage.cables import routes_beside, sections_held
from service.storage.routes import RepliedRevision, find_revision, newest_revision, reply_to
from service.storage.session import add_rows
from service.storage.tables import DesignReply, DesignRevision, Route
from service.vocabulary import quantities as q
from service.vocabulary.states import RevisionState


class DesignRefusalForm(q.Value):
    """Which revision the engineer refuses, and why: the contractor reads it."""

    revision: q.RowNumber
    reason: q.Text


def agree_design(session: Session, caller: Caller, route_id: UUID, revision: int) -> Route:
    """Put a proposed design in force as agreed; the one that is agreed already gives the route as it is."""
    route = _lock_with_cable(session, caller, route_id)
    if route.agreed_design_revision == revision:
        return route
    proposed = _proposed(session, caller, route, revision)
    refuse_while_submitted(session, route)
    design = routes.parse_design(proposed.row.document).design
    corrected = correct_others(session, route, design)
    _refuse_unready(session, corrected)
    faults = kind_faults(session, route, design)
    if faults:
        said = "; ".join(f"{fault.pointer} {fault.detail}" for fault in faults)
        raise ConflictError(f"Another route has come to share a site of it as another kind: {said}.")
    _add_reply(session, caller, proposed.row, reason=None)
    routes.raise_version(route)
    is_judged_by_it = route.design_revision == revision
    route.design_revision = route.agreed_design_revision = revision
    route.proposed_design_revision = None
    hold_cable(session, route)
    if not is_judged_by_it:
        put_in_force(session, route, revision)
    others = [_correct(session, caller, one, proposed.row.token_id) for one in corrected]
    _append_audit(session, caller, [proposed.row, *others], "design.agreed")
    return route


def refuse_design(session: Session, caller: Caller, route_id: UUID, form: DesignRefusalForm) -> Route:
    """Refuse a proposed design with the reason; what is in force stays."""
    route = routes.lock_route(session, caller.projects, route_id)
    said = reply_to(session, route, form.revision)
    if said is not None and said.reason == form.reason:
        return route
    proposed = _proposed(session, caller, route, form.revision)
    _add_reply(session, caller, proposed.row, reason=form.reason)
    route.proposed_design_revision = None
    hold_cable(session, route)
    routes.raise_version(route)
    _append_audit(session, caller, [proposed.row], "design.refused")
    return route


def _lock_with_cable(session: Session, caller: Caller, route_id: UUID) -> Route:
    """Lock a route and all that pass cable of its designs: they may be corrected by what is proposed."""
    route = routes.find_route(session, caller.projects, route_id)
    # Who proposes changes sites too, and so waits until commit: what is held is held by the design that is agreed to.
    routes.change_sites(session, route.project_id)
    beside = routes_beside(session, route, sections=sections_held(session, route), sites=[])
    return routes.lock_together(session, route, beside)


def _refuse_unready(session: Session, corrected: Sequence[Corrected]) -> None:
    """Refuse a correction that would change a route behind somebody's back: submitted, or about to be changed."""
    for one in corrected:
        route, named = one.route, f"Route {one.route.code} passes {', '.join(one.sections)} too"
        if submissions.segments_held(session, route):
            raise RouteSubmittedError(f"{named}, and its design stays as it is until its submission is decided.")
        if route.proposed_design_revision is not None:
            raise ConflictError(f"{named}, and its own revision waits for a reply: reply to it, or have it taken back.")


def _correct(session: Session, caller: Caller, one: Corrected, token_id: UUID) -> DesignRevision:
    """Put a route's design in force with the facts of a shared cable, proposed and agreed to by the same two words."""
    route, document = one.route, checked_design(one.design)
    revision = newest_revision(session, route).row.revision + 1
    row = add_revision(session, route, revision, document, token_id=token_id, now=caller.now)
    _add_reply(session, caller, row, reason=None)
    routes.raise_version(route)
    route.agreed_design_revision = revision
    put_in_force(session, route, revision)
    return row


def _proposed(session: Session, caller: Caller, route: Route, revision: int) -> RepliedRevision:
    """Return what the engineer replies to, refused where it is not what is proposed or is the caller's own."""
    if route.proposed_design_revision != revision:
        raise ConflictError(f"Design revision {revision} is not what the contractor proposes for this route.")
    found = find_revision(session, route, revision)
    assert found.state is RevisionState.PROPOSED
    if caller.holder is not None and caller.holder == access.holder_of(session, found.row.token_id):
        raise WrongTokenKindError("Who proposes a design cannot reply to it.")
    return found


def _add_reply(session: Session, caller: Caller, row: DesignRevision, *, reason: str | None) -> None:
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


def _append_audit(session: Session, caller: Caller, rows: Sequence[DesignRevision], action: str) -> None:
    subject = ",".join(f"{row.route_id}/{row.revision}" for row in rows)
    caller.append_audit(session, rows[0].project_id, action, subject, content_sha256=rows[0].sha256)
