"""Open projects, and name the people in them."""

from typing import Annotated
from uuid import uuid4

from pydantic import Field
from sqlmodel import Session, select

from service.actions.caller import Caller
from service.actions.certificates import forget_certificates
from service.errors import ConflictError, NotFoundError
from service.storage.head import FIRST_HASH, record_deed
from service.storage.tables import Person, Project, ProjectHead
from service.vocabulary import quantities as q


class ProjectForm(q.Value):
    """One contract between an owner and a contractor."""

    code: q.Identifier
    name: q.Text
    owner: q.Text
    contractor: q.Text


class PersonForm(q.Value):
    """A person's name and role, kept apart from everything that refers to the person."""

    name: q.Text
    role: Annotated[q.Text, Field(max_length=100)]


def open_project(session: Session, caller: Caller, form: ProjectForm) -> tuple[Project, bool]:
    """Open a project; the same again gives the one that is there. Say whether it is new."""
    project = session.exec(select(Project).where(Project.code == form.code)).one_or_none()
    if project is not None:
        if (project.name, project.owner, project.contractor) != (form.name, form.owner, form.contractor):
            raise ConflictError("Another project has this code.")
        return project, False
    project = Project(id=uuid4(), created_at=caller.now, **form.model_dump())
    session.add(project)
    session.flush()
    session.add(ProjectHead(project_id=project.id, audit_hash=FIRST_HASH))
    record_deed(session, project.id, caller.deed("project.opened", project.id))
    return project, True


def name_person(session: Session, caller: Caller, project: Project, person_id: str, form: PersonForm) -> Person:
    """Give an opaque id its name and role."""
    person = session.merge(Person(project_id=project.id, id=person_id, name=form.name, role=form.role))
    record_deed(session, project.id, caller.deed("person.named", person_id))
    return person


def erase_person(session: Session, caller: Caller, project: Project, person_id: str) -> None:
    """Erase a person's name; what the person did stays under the opaque id."""
    person = session.get(Person, (project.id, person_id))
    if person is None:
        raise NotFoundError("No person with this id.")
    session.delete(person)
    forget_certificates(session, project, person_id, now=caller.now)
    record_deed(session, project.id, caller.deed("person.erased", person_id))
