"""How people are printed: the one place where an act's opaque id becomes a name."""

from uuid import UUID

from sqlmodel import Session

from service.storage.tables import Decision, Person, Submission
from service.vocabulary.people import PrintedPerson


def submitted_by(session: Session, submission: Submission) -> PrintedPerson:
    """Return who answers for a submission, under the name that it kept; earlier ones kept none."""
    if submission.responsible_name is not None:
        return PrintedPerson(name=submission.responsible_name, position=submission.responsible_position)
    return _named(session, submission.project_id, submission.responsible_person)


def decided_by(session: Session, decision: Decision, engineer: str) -> PrintedPerson:
    """Return the engineer who made a decision, under the name that it kept; earlier ones kept none."""
    if decision.decided_by_name is not None:
        return PrintedPerson(name=decision.decided_by_name, position=decision.decided_by_position)
    return _named(session, decision.project_id, engineer)


def _named(session: Session, project_id: UUID, person_id: str) -> PrintedPerson:
    """Return a person by name and position; of one whose name was erased the id is left."""
    person = session.get(Person, (project_id, person_id))
    return PrintedPerson(name=person_id) if person is None else PrintedPerson(name=person.name, position=person.role)
