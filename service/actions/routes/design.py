"""Describe a route, and propose revisions of its design; a revision is in force once the engineer agrees to it.

Started by: the contractor.
Writes: the route with its fibres, and the cable fibres that its designs hold; a numbered design revision, as what is
proposed; one audit entry. Until the engineer has agreed to any, what is proposed is in force already, with its sites:
the crew has to hear of its work.
Leaves: where a revision came in force, the route's `judge` job due for all its fibres.
"""

from datetime import datetime
from uuid import UUID, uuid4

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import judge_again, refuse_while_submitted
from service.actions.routes.cables import hold_cable, refuse_beside_others
from service.errors import BodyInvalidError, ConflictError, PreconditionFailedError
from service.storage import links, packages, routes
from service.storage.routes import RepliedRevision, design_etag, newest_revision
from service.storage.session import add_rows
from service.storage.tables import DesignRevision, Project, Route, Site
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.rules import faults_in
from service.vocabulary.states import RevisionState
from service.vocabulary.validation import MOST_FAULTS, Fault


def describe_route(session: Session, caller: Caller, project: Project, design: Design) -> tuple[Route, bool]:
    """Add a route; the same again gives the one that is there. Say whether it is new."""
    document = checked_design(design)
    routes.change_sites(session, project.id)
    existing = routes.route_with_code(session, project, design.code)
    if existing is not None:
        if routes.design_row(session, existing).sha256 != sha256_hex(document):
            raise ConflictError("Another route of this project has this code.")
        return existing, False
    route = Route(project_id=project.id, id=uuid4(), code=design.code, design_revision=1, proposed_design_revision=1)
    _refuse_other_kinds(session, route, design)
    refuse_beside_others(session, route, design)
    routes.add_route(session, route, fibre_count=design.fibre_count)
    add_revision(session, route, 1, document, token_id=caller.token_id, now=caller.now)
    _keep_sites(session, route, design)
    hold_cable(session, route)
    caller.append_audit(session, project.id, "route.described", route.id, content_sha256=sha256_hex(document))
    return route, True


def propose_design(session: Session, caller: Caller, route_id: UUID, design: Design, *, etag: str) -> Route:
    """Propose a design for a route; the agreed one proposed again takes back what waits for the engineer's word."""
    document = checked_design(design)
    route, sha256 = routes.lock_with_sites(session, caller.projects, route_id), sha256_hex(document)
    newest = newest_revision(session, route)
    if newest.state is RevisionState.PROPOSED and newest.row.sha256 == sha256:
        # Asked again after an answer was lost: that the state is no longer the one seen is the first request's doing.
        return route
    _refuse_unseen(route, newest, etag)
    if route.agreed_design_revision is not None and routes.design_row(session, route).sha256 == sha256:
        return _take_back(session, caller, route)
    refuse_while_submitted(session, route)
    refuse_another_shape(session, route, design)
    revision = newest.row.revision + 1
    add_revision(session, route, revision, document, token_id=caller.token_id, now=caller.now)
    route.proposed_design_revision = revision
    routes.raise_version(route)
    if route.agreed_design_revision is None:
        put_in_force(session, route, revision)
    hold_cable(session, route)
    subject = f"{route.id}/{revision}"
    caller.append_audit(session, route.project_id, "design.proposed", subject, content_sha256=sha256)
    return route


def put_in_force(session: Session, route: Route, revision: int) -> None:
    """Judge a locked route by another design revision from now on, by the version that the route has been given."""
    route.design_revision = revision
    _keep_sites(session, route, routes.layout_of(session, route).design)
    judge_again(session, route, None, is_urgent=False)


def add_revision(
    session: Session, route: Route, revision: int, document: bytes, *, token_id: UUID, now: datetime
) -> DesignRevision:
    """Add a design revision, in whoever's name it was proposed."""
    row = DesignRevision(
        project_id=route.project_id,
        route_id=route.id,
        revision=revision,
        document=document.decode(),
        sha256=sha256_hex(document),
        created_at=now,
        token_id=token_id,
    )
    add_rows(session, [row])
    return row


def checked_design(design: Design) -> bytes:
    """Return the canonical text of a design, refused where it cannot be built."""
    faults = faults_in(design)
    if faults:
        raise BodyInvalidError("The design is not one that can be built.", faults=faults[:MOST_FAULTS])
    return canonical_json(design.model_dump(exclude_none=True))


def refuse_another_shape(session: Session, route: Route, design: Design) -> None:
    """Refuse a design that is no revision of a route's, or that does not go together with other routes'."""
    old = routes.layout_of(session, route).design
    if design.code != route.code:
        raise BodyInvalidError("A route keeps its code.", faults=[Fault(pointer="/code", detail=f"is {route.code}")])
    if design.fibre_count != old.fibre_count:
        fault = Fault(pointer="/fibre_count", detail=f"is {old.fibre_count}; more fibres are another route")
        raise BodyInvalidError("A route keeps its number of fibres.", faults=[fault])
    _refuse_joints_never_accepted(session, route, Layout(design))
    _refuse_other_kinds(session, route, design)
    refuse_beside_others(session, route, design)


def kind_faults(session: Session, route: Route, design: Design) -> list[Fault]:
    """Return the sites of a design that the project has already, as another kind of place."""
    known = routes.site_kinds(session, route.project_id, [site.id for site in design.sites])
    return [
        Fault(pointer=f"/sites/{index}/kind", detail=f"is a {known[site.id]} on another route")
        for index, site in enumerate(design.sites)
        if known.get(site.id, site.kind.value) != site.kind.value
    ]


def _refuse_joints_never_accepted(session: Session, route: Route, layout: Layout) -> None:
    """Refuse joints in a closure where an accepted segment ended before it was built: nobody accepts or pays them.

    They are work of the segment that is joined there, and named by it.
    """
    faults: list[Fault] = []
    for segment, acceptance in packages.standing_acceptances(session, route).items():
        package = packages.find_package(session, [route.project_id], acceptance.package_id)
        revision = packages.submission_of_package(session, package).design_revision
        then = routes.layout_of(session, route, revision=revision)
        for site in (then.design.sites[index].id for index in then.unbuilt_ends):
            is_built = layout.site_index.get(site, -1) not in {-1, *layout.unbuilt_ends}
            if is_built and then.segment_of_site[site] == layout.segment_of_site[site] == segment:
                place = [one.id for one in layout.design.segments].index(segment)
                detail = f"{site} was not built when {segment} was accepted: the segment that is joined there names it"
                faults.append(Fault(pointer=f"/segments/{place}/sites", detail=detail))
    if faults:
        raise BodyInvalidError("A segment is paid for as it was accepted.", faults=faults)


def _take_back(session: Session, caller: Caller, route: Route) -> Route:
    if route.proposed_design_revision is not None:
        subject = f"{route.id}/{route.proposed_design_revision}"
        route.proposed_design_revision = None
        hold_cable(session, route)
        routes.raise_version(route)
        caller.append_audit(session, route.project_id, "design.taken_back", subject)
    return route


def _keep_sites(session: Session, route: Route, design: Design) -> None:
    known = routes.site_kinds(session, route.project_id, [site.id for site in design.sites])
    new = [site for site in design.sites if site.id not in known]
    add_rows(session, [Site(project_id=route.project_id, id=site.id, kind=site.kind.value) for site in new])
    sites = {site.id for site in design.sites}
    routes.pass_sites(session, route, sites - routes.sites_passed(session, route))
    # Of all sites: one that an earlier revision left out had its lid opened without this route hearing of it.
    links.link_lids(session, route, sites)
    links.link_layings(session, route, {section.id for section in design.sections})


def _refuse_unseen(route: Route, newest: RepliedRevision, etag: str) -> None:
    current = design_etag(route, newest)
    if etag not in {current, "*"}:
        detail = "The design is another by now, or what is proposed is: look at it again."
        raise PreconditionFailedError(detail, headers={"ETag": current})


def _refuse_other_kinds(session: Session, route: Route, design: Design) -> None:
    faults = kind_faults(session, route, design)
    if faults:
        raise BodyInvalidError("A site of the project has this id already.", faults=faults)
