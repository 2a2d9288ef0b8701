"""Describe a route, and revise its design.

Started by: the contractor.
Writes: the route with its fibres, its sites, a numbered design revision; one audit entry.
Leaves: after a revision the route's `judge` job due for all its fibres.
"""

from uuid import UUID, uuid4

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import judge_again, refuse_while_submitted
from service.errors import BodyInvalidError, ConflictError
from service.storage import links, routes
from service.storage.session import add_rows
from service.storage.tables import DesignRevision, Project, Route, Site
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.design.design import Design
from service.vocabulary.design.rules import faults_in
from service.vocabulary.validation import MOST_FAULTS, Fault


def describe_route(session: Session, caller: Caller, project: Project, design: Design) -> tuple[Route, bool]:
    """Add a route; the same again gives the one that is there. Say whether it is new."""
    document = _checked(design)
    routes.change_sites(session, project.id)
    existing = routes.route_with_code(session, project, design.code)
    if existing is not None:
        if routes.design_row(session, existing).sha256 != sha256_hex(document):
            raise ConflictError("Another route of this project has this code.")
        return existing, False
    route = Route(project_id=project.id, id=uuid4(), code=design.code, design_revision=1)
    routes.add_route(session, route, fibre_count=design.fibre_count)
    _keep_revision(session, caller, route, design, document)
    caller.append_audit(session, project.id, "route.described", route.id, content_sha256=sha256_hex(document))
    return route, True


def revise_design(session: Session, caller: Caller, route_id: UUID, design: Design) -> Route:
    """Add a design revision; records keep their physical place, so sites that hold records must stay."""
    document = _checked(design)
    # Before the route's lock, in the order in which a lid's record takes the two: else each could wait for the other.
    routes.change_sites(session, routes.find_route(session, caller.projects, route_id).project_id)
    route = routes.lock_route(session, caller.projects, route_id)
    current = routes.design_row(session, route)
    if current.sha256 == sha256_hex(document):
        return route
    refuse_while_submitted(session, route)
    _refuse_another_shape(route, routes.parse_design(current.document).design, design)
    route.design_revision += 1
    routes.raise_version(route)
    _keep_revision(session, caller, route, design, document)
    judge_again(session, route, None, is_urgent=False)
    caller.append_audit(session, route.project_id, "route.revised", route.id, content_sha256=sha256_hex(document))
    return route


def _checked(design: Design) -> bytes:
    faults = faults_in(design)
    if faults:
        raise BodyInvalidError("The design is not one that can be built.", faults=faults[:MOST_FAULTS])
    return canonical_json(design.model_dump(exclude_none=True))


def _refuse_another_shape(route: Route, old: Design, new: Design) -> None:
    if new.code != route.code:
        raise BodyInvalidError("A route keeps its code.", faults=[Fault(pointer="/code", detail=f"is {route.code}")])
    if new.fibre_count != old.fibre_count:
        fault = Fault(pointer="/fibre_count", detail=f"is {old.fibre_count}; more fibres are another route")
        raise BodyInvalidError("A route keeps its number of fibres.", faults=[fault])
    gone = {site.id for site in old.sites} - {site.id for site in new.sites}
    if gone:
        fault = Fault(pointer="/sites", detail=f"lacks {', '.join(sorted(gone))}")
        raise BodyInvalidError("Records keep their place: a revision keeps the route's sites.", faults=[fault])


def _keep_revision(session: Session, caller: Caller, route: Route, design: Design, document: bytes) -> None:
    _keep_sites(session, route, design)
    revision = DesignRevision(
        project_id=route.project_id,
        route_id=route.id,
        revision=route.design_revision,
        document=document.decode(),
        sha256=sha256_hex(document),
        created_at=caller.now,
        token_id=caller.token_id,
    )
    add_rows(session, [revision])


def _keep_sites(session: Session, route: Route, design: Design) -> None:
    known = routes.site_kinds(session, route.project_id, [site.id for site in design.sites])
    for index, site in enumerate(design.sites):
        if known.get(site.id, site.kind.value) != site.kind.value:
            fault = Fault(pointer=f"/sites/{index}/kind", detail=f"is a {known[site.id]} on another route")
            raise BodyInvalidError("A site of the project has this id already.", faults=[fault])
    new = [site for site in design.sites if site.id not in known]
    add_rows(session, [Site(project_id=route.project_id, id=site.id, kind=site.kind.value) for site in new])
    newly_passed = {site.id for site in design.sites} - routes.sites_passed(session, route)
    routes.pass_sites(session, route, newly_passed)
    links.link_lids(session, route, newly_passed)
