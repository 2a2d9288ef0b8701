"""Open projects, and name the people in them.

Started by: the administrator, and each side for its own people.
Writes: the project with its head row; a person's name, or that it is erased everywhere; one audit entry.
Leaves: nothing; a name that is still to be printed goes with the job that prints it.
"""

from typing import Annotated
from uuid import uuid4

from pydantic import Field
from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError, WrongSideError
from service.storage import access
from service.storage.tables import Person, Project
from service.vocabulary import quantities as q
from service.vocabulary.people import SIDE_OF, PartySide
from service.vocabulary.validation import Fault

_OF_OTHER_SIDE = "This id is a person of the other side."


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
    project = access.project_with_code(session, form.code)
    if project is not None:
        if (project.name, project.owner, project.contractor) != (form.name, form.owner, form.contractor):
            raise ConflictError("Another project has this code.")
        return project, False
    project = Project(id=uuid4(), created_at=caller.now, **form.model_dump())
    access.add_project(session, project)
    caller.append_audit(session, project.id, "project.opened", project.id)
    return project, True


def name_person(
    session: Session, caller: Caller, project: Project, person_id: str, form: PersonForm
) -> tuple[Person, PartySide]:
    """Give an opaque id of the caller's side its name and role; return whose person it is too."""
    side = _side_meant(session, caller, project, person_id, form)
    if not access.claim_for(session, project.id, person_id, side):
        raise WrongSideError(_OF_OTHER_SIDE)
    person = access.keep_name(session, Person(project_id=project.id, id=person_id, name=form.name, role=form.role))
    caller.append_audit(session, project.id, "person.named", person_id)
    return person, side


def erase_person(session: Session, caller: Caller, project: Project, person_id: str) -> None:
    """Erase the name of a person of the caller's side; what the person did stays under the opaque id."""
    refuse_other_side(session, caller, project, person_id)
    person = access.find_person(session, project.id, person_id)
    if person is None:
        raise NotFoundError("No person with this id.")
    access.erase_name(session, person, now=caller.now)
    caller.append_audit(session, project.id, "person.erased", person_id)


def refuse_other_side(session: Session, caller: Caller, project: Project, person_id: str) -> None:
    """Refuse whoever is of one side and means a person of the other, or of none yet."""
    own = SIDE_OF.get(caller.kind)
    side = access.side_of(session, project.id, person_id)
    if own is None or side is own:
        return
    if side is None:
        raise NotFoundError("No person with this id.")
    raise WrongSideError(_OF_OTHER_SIDE)


def _side_meant(session: Session, caller: Caller, project: Project, person_id: str, form: PersonForm) -> PartySide:
    own = SIDE_OF.get(caller.kind)
    if own is not None:
        if form.side not in {None, own}:
            fault = Fault(pointer="/side", detail=f"is not the caller's, which is {own.value}")
            raise BodyInvalidError("Each side names its own people.", faults=[fault])
        return own
    side = form.side or access.side_of(session, project.id, person_id)
    if side is None:
        fault = Fault(pointer="/side", detail="say whose person it is: contractor or owner")
        raise BodyInvalidError("Nobody has used this id yet.", faults=[fault])
    return side
