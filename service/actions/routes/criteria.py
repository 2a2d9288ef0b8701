"""Set criteria, and bind a route to one version: proposed by the engineer, in force when the contractor agrees."""

from uuid import UUID

from sqlalchemy import func
from sqlmodel import Session, col, select

from service.actions.caller import Caller
from service.actions.invalidation import judge_again, refuse_while_submitted
from service.errors import BodyInvalidError, ConflictError
from service.storage.head import lock_head, record_deed
from service.storage.routes import criteria_row, lock_route, raise_version
from service.storage.tables import CriteriaVersion, Project, Route
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.rules import Fault


def set_criteria(
    session: Session, caller: Caller, project: Project, criteria: Criteria
) -> tuple[CriteriaVersion, bool]:
    """Add a version of the project's criteria; the newest again gives itself. Say whether it is new."""
    document = canonical_json(criteria.model_dump(exclude_none=True))
    sha256 = sha256_hex(document)
    # The head row's lock numbers the versions; it is this transaction's only lock.
    lock_head(session, project.id)
    newest = session.exec(
        select(func.max(CriteriaVersion.version)).where(col(CriteriaVersion.project_id) == project.id)
    ).one()
    if newest is not None:
        row = criteria_row(session, project.id, newest)
        if row.sha256 == sha256:
            return row, False
    row = CriteriaVersion(
        project_id=project.id,
        version=(newest or 0) + 1,
        document=document.decode(),
        sha256=sha256,
        created_at=caller.now,
        token_id=caller.token_id,
    )
    session.add(row)
    record_deed(session, project.id, caller.deed("criteria.set", row.version, content_sha256=sha256))
    return row, True


def propose_criteria(session: Session, caller: Caller, route_id: UUID, version: int) -> Route:
    """Propose a criteria version for a route; it binds when the contractor acknowledges it."""
    route = lock_route(session, caller.projects, route_id)
    if session.get(CriteriaVersion, (route.project_id, version)) is None:
        fault = Fault(pointer="/version", detail="is not a criteria version of this project")
        raise BodyInvalidError("The proposal names what is not there.", faults=[fault])
    refuse_while_submitted(session, route)
    route.proposed_criteria_version = version
    raise_version(route)
    record_deed(session, route.project_id, caller.deed("criteria.proposed", f"{route.id}/{version}"))
    return route


def acknowledge_criteria(session: Session, caller: Caller, route_id: UUID, version: int) -> Route:
    """Bind a route to the version that was proposed; everything is judged anew."""
    route = lock_route(session, caller.projects, route_id)
    if route.criteria_version == version and route.proposed_criteria_version is None:
        return route
    if route.proposed_criteria_version != version:
        raise ConflictError(f"Criteria version {version} is not what the engineer proposed for this route.")
    refuse_while_submitted(session, route)
    route.criteria_version, route.proposed_criteria_version = version, None
    raise_version(route)
    judge_again(session, route, None, is_urgent=False)
    record_deed(session, route.project_id, caller.deed("criteria.acknowledged", f"{route.id}/{version}"))
    return route
