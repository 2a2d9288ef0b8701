"""Set criteria, say what they cannot decide, and bind a route to one version: proposed, in force when agreed to.

Started by: the engineer, who sets and proposes; the contractor, who acknowledges.
Writes: the version; the route's proposal, or its binding; one audit entry.
Leaves: once bound, the route's `judge` job due for all its fibres.
"""

from collections.abc import Sequence
from functools import lru_cache
from uuid import UUID

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import judge_again, refuse_while_submitted
from service.errors import BodyInvalidError, ConflictError
from service.storage import audit, routes
from service.storage.criteria import criteria_row, find_criteria, newest_criteria, parse_criteria
from service.storage.session import add_rows
from service.storage.tables import CriteriaVersion, Project, Route
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.review import CriteriaReport, contradictions_in
from service.vocabulary.criteria.route_feasibility import infeasibilities_on
from service.vocabulary.validation import Fault


def set_criteria(
    session: Session, caller: Caller, project: Project, criteria: Criteria
) -> tuple[CriteriaVersion, bool]:
    """Add a version of the project's criteria; the newest again gives itself. Say whether it is new."""
    document = canonical_json(criteria.model_dump(exclude_none=True))
    sha256 = sha256_hex(document)
    # The head row's lock numbers the versions; it is this transaction's only lock.
    audit.lock_head(session, project.id)
    newest = newest_criteria(session, project.id)
    if newest is not None and newest.sha256 == sha256:
        return newest, False
    row = CriteriaVersion(
        project_id=project.id,
        version=1 if newest is None else newest.version + 1,
        document=document.decode(),
        sha256=sha256,
        created_at=caller.now,
        token_id=caller.token_id,
    )
    add_rows(session, [row])
    caller.append_audit(session, project.id, "criteria.set", row.version, content_sha256=sha256)
    return row, True


def propose_criteria(session: Session, caller: Caller, route_id: UUID, version: int) -> Route:
    """Propose a criteria version for a route; it binds when the contractor acknowledges it."""
    route = routes.lock_route(session, caller.projects, route_id)
    if find_criteria(session, route.project_id, version) is None:
        fault = Fault(pointer="/version", detail="is not a criteria version of this project")
        raise BodyInvalidError("The proposal names what is not there.", faults=[fault])
    refuse_while_submitted(session, route)
    route.proposed_criteria_version = version
    routes.raise_version(route)
    caller.append_audit(session, route.project_id, "criteria.proposed", f"{route.id}/{version}")
    return route


def acknowledge_criteria(session: Session, caller: Caller, route_id: UUID, version: int) -> Route:
    """Bind a route to the version that was proposed; everything is judged anew."""
    route = routes.lock_route(session, caller.projects, route_id)
    if route.criteria_version == version and route.proposed_criteria_version is None:
        return route
    if route.proposed_criteria_version != version:
        raise ConflictError(f"Criteria version {version} is not what the engineer proposed for this route.")
    refuse_while_submitted(session, route)
    route.criteria_version, route.proposed_criteria_version = version, None
    routes.raise_version(route)
    judge_again(session, route, None, is_urgent=False)
    caller.append_audit(session, route.project_id, "criteria.acknowledged", f"{route.id}/{version}")
    return route


def reports_on_route(session: Session, route: Route, version: int | None) -> Sequence[CriteriaReport]:
    """Return what a criteria version cannot decide on a route; nothing without one."""
    if version is None:
        return ()
    criteria = criteria_row(session, route.project_id, version).document
    return _reports_on(criteria, routes.design_row(session, route).document)


@lru_cache(maxsize=128)
def reports_in(criteria: str) -> tuple[CriteriaReport, ...]:
    """Return what criteria cannot decide, by their canonical text, before they meet any route."""
    return tuple(contradictions_in(parse_criteria(criteria)))


# Rows of both tables never change, so what is said of their texts may be kept.
@lru_cache(maxsize=128)
def _reports_on(criteria: str, design: str) -> tuple[CriteriaReport, ...]:
    return (*reports_in(criteria), *infeasibilities_on(parse_criteria(criteria), routes.parse_design(design)))
