"""Open projects, and name the people in them."""

from typing import Annotated
from uuid import uuid4

from pydantic import Field
from sqlmodel import Session, select

from service.actions.access.certificates import forget_certificates
from service.actions.access.sides import claim_person, refuse_other_side
from service.actions.caller import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError
from service.storage.head import FIRST_HASH, record_deed
from service.storage.people import forget_printed_names, side_of
from service.storage.tables import Person, Project, ProjectHead
from service.vocabulary import quantities as q
from service.vocabulary.design.rules import Fault
from service.vocabulary.sides import SIDE_OF, PartySide


class ProjectForm(q.Value):
    """One contract between an owner and a contractor."""

    code: q.Identifier
    name: q.Text
    owner: q.Text
    contractor: q.Text


class PersonForm(q.Value):
    """A person's name and role, kept apart from everything that refers to the person.

    `side` is whose person it is: who names is of that side, and only the administrator has to say which.
    """

    name: q.Text
    role: Annotated[q.Text, Field(max_length=100)]
    side: PartySide | None = None


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


def name_person(
    session: Session, caller: Caller, project: Project, person_id: str, form: PersonForm
) -> tuple[Person, PartySide]:
    """Give an opaque id of the caller's side its name and role; return whose person it is too."""
    side = _side_meant(session, caller, project, person_id, form)
    claim_person(session, project, person_id, side)
    person = session.merge(Person(project_id=project.id, id=person_id, name=form.name, role=form.role))
    record_deed(session, project.id, caller.deed("person.named", person_id))
    return person, side


def erase_person(session: Session, caller: Caller, project: Project, person_id: str) -> None:
    """Erase the name of a person of the caller's side; what the person did stays under the opaque id."""
    refuse_other_side(session, caller, project, person_id)
    person = session.get(Person, (project.id, person_id))
    if person is None:
        raise NotFoundError("No person with this id.")
    session.delete(person)
    forget_certificates(session, project, person_id, now=caller.now)
    forget_printed_names(session, project.id, person_id)
    record_deed(session, project.id, caller.deed("person.erased", person_id))


def _side_meant(session: Session, caller: Caller, project: Project, person_id: str, form: PersonForm) -> PartySide:
    own = SIDE_OF.get(caller.kind)
    if own is not None:
        if form.side not in {None, own}:
            fault = Fault(pointer="/side", detail=f"is not the caller's, which is {own.value}")
            raise BodyInvalidError("Each side names its own people.", faults=[fault])
        return own
    side = form.side or side_of(session, project.id, person_id)
    if side is None:
        fault = Fault(pointer="/side", detail="say whose person it is: contractor or owner")
        raise BodyInvalidError("Nobody has used this id yet.", faults=[fault])
    return side
