"""Projects, the people in them, and tokens."""

from datetime import datetime
from uuid import UUID

from fastapi import APIRouter, Response
from pydantic import BaseModel

from service.actions.access import projects, tokens
from service.actions.access.projects import PersonForm, ProjectForm
from service.actions.access.tokens import TokenForm
from service.api.gate import AdministratorGate, AnyGate, PeopleGate
from service.api.routing import CheckedRoute, RowAnswer
from service.vocabulary import quantities as q
from service.vocabulary.people import PartySide
from service.vocabulary.words import TokenKind

router = APIRouter(prefix="/v1", route_class=CheckedRoute, tags=["projects"])


class ProjectAnswer(RowAnswer):
    """A project."""

    id: UUID
    code: str
    name: str
    owner: str
    contractor: str


class TokenAnswer(BaseModel):
    """A token; its text is shown this once."""

    id: UUID
    kind: TokenKind
    token: str
    expires_at: datetime | None


class PersonAnswer(BaseModel):
    """A person's name and role, and whose person it is."""

    id: str
    name: str
    role: str
    side: PartySide


@router.post("/projects", status_code=201)
def open_project(gate: AdministratorGate, form: ProjectForm, response: Response) -> ProjectAnswer:
    """Open a project; the same again answers 200 with the one that is there."""
    with gate.write_session() as (session, caller):
        project, is_new = projects.open_project(session, caller, form)
        response.status_code = 201 if is_new else 200
        response.headers["Location"] = f"/v1/projects/{project.id}"
        return ProjectAnswer.model_validate(project)


@router.get("/projects/{project_id}")
def read_project(gate: AnyGate, project_id: UUID) -> ProjectAnswer:
    """Read a project."""
    with gate.read_snapshot_of(project_id) as (_, _, project):
        return ProjectAnswer.model_validate(project)


@router.put("/projects/{project_id}/people/{person_id}")
def name_person(gate: PeopleGate, project_id: UUID, person_id: q.Identifier, form: PersonForm) -> PersonAnswer:
    """Give an opaque id of one's own side its name and role: the one place where a name stands."""
    with gate.write_session_in(project_id) as (session, caller, project):
        person, side = projects.name_person(session, caller, project, person_id, form)
        return PersonAnswer(id=person.id, name=person.name, role=person.role, side=side)


@router.delete("/projects/{project_id}/people/{person_id}", status_code=204, response_class=Response)
def erase_person(gate: PeopleGate, project_id: UUID, person_id: q.Identifier) -> None:
    """Erase the name of a person of one's own side; what the person did stays under the opaque id."""
    with gate.write_session_in(project_id) as (session, caller, project):
        projects.erase_person(session, caller, project, person_id)


@router.post("/tokens", status_code=201)
def issue_token(gate: AdministratorGate, form: TokenForm, response: Response) -> TokenAnswer:
    """Issue a token; its text is shown this once."""
    with gate.write_session() as (session, caller):
        token, text = tokens.issue_token(session, form, now=caller.now, issuer=caller)
        response.headers["Location"] = f"/v1/tokens/{token.id}"
        response.headers["Cache-Control"] = "no-store"
        return TokenAnswer(id=token.id, kind=form.kind, token=text, expires_at=token.expires_at)


@router.delete("/tokens/{token_id}", status_code=204, response_class=Response)
def revoke_token(gate: AdministratorGate, token_id: UUID) -> None:
    """Revoke a token; it opens nothing from now on."""
    with gate.write_session() as (session, caller):
        tokens.revoke_token(session, caller, token_id)
