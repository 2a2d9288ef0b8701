"""Whose person an id is, for good, and the names that acts keep for what is printed of them."""

from collections.abc import Collection
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, and_, select, update
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import Session, col

from service.storage.jobs import OPEN_STATES, JobKind
from service.storage.tables import Decision, Job, Person, PersonSide, Submission, Token
from service.vocabulary.sides import PartySide


def claim_for(session: Session, project_id: UUID, person_id: str, side: PartySide) -> bool:
    """Make an id a side's, unless it is one's already. Say whether it is that side's now."""
    statement = insert(PersonSide).values(project_id=project_id, person_id=person_id, side=side.value)
    session.execute(statement.on_conflict_do_nothing())
    return side_of(session, project_id, person_id) is side


def claim_unused(session: Session, project_id: UUID, people: Collection[str], side: PartySide) -> None:
    """Make those ids a side's that nobody has used yet."""
    statement = select(col(PersonSide.person_id)).where(
        col(PersonSide.project_id) == project_id, col(PersonSide.person_id).in_(people)
    )
    unused = set(people) - set(session.execute(statement).scalars())
    if unused:
        # In order: two requests would else wait for each other.
        rows = [{"project_id": project_id, "person_id": one, "side": side.value} for one in sorted(unused)]
        session.execute(insert(PersonSide).values(rows).on_conflict_do_nothing())


def side_of(session: Session, project_id: UUID, person_id: str) -> PartySide | None:
    """Return whose person an id is; it stays that when the name is erased. None where nobody has used it yet."""
    statement = select(col(PersonSide.side)).where(
        col(PersonSide.project_id) == project_id, col(PersonSide.person_id) == person_id
    )
    side = session.execute(statement).scalar_one_or_none()
    return None if side is None else PartySide(side)


def forget_printed_names(session: Session, project_id: UUID, person_id: str) -> None:
    """Forget under which name a person submitted and decided, but for what is still to be printed.

    Whoever prints the last of it calls this again.
    """
    submitted = _submitted_by(project_id, person_id) & ~_is_to_be_done(JobKind.PACKAGE, col(Submission.id))
    session.execute(update(Submission).where(submitted).values(responsible_name=None, responsible_position=None))
    decided = _decided_by(project_id, person_id) & ~_is_to_be_done(JobKind.COUNTERSIGN, col(Decision.package_id))
    session.execute(update(Decision).where(decided).values(decided_by_name=None, decided_by_position=None))


def forget_once_printed(session: Session, project_id: UUID, people: Collection[str]) -> None:
    """Forget the names of those people that were erased while something of theirs was to be printed."""
    statement = select(col(Person.id)).where(col(Person.project_id) == project_id, col(Person.id).in_(people))
    # Locked: who erases the name right now looks for what is to be printed only once this is committed.
    statement = statement.with_for_update(read=True)
    for person_id in sorted(set(people) - set(session.execute(statement).scalars())):
        forget_printed_names(session, project_id, person_id)


def _submitted_by(project_id: UUID, person_id: str) -> ColumnElement[bool]:
    return and_(
        col(Submission.project_id) == project_id,
        col(Submission.responsible_person) == person_id,
        col(Submission.responsible_name).is_not(None),
    )


def _decided_by(project_id: UUID, person_id: str) -> ColumnElement[bool]:
    return and_(
        col(Decision.project_id) == project_id,
        col(Decision.token_id).in_(select(col(Token.id)).where(col(Token.holder) == person_id)),
        col(Decision.decided_by_name).is_not(None),
    )


def _is_to_be_done(kind: JobKind, subject: Any) -> ColumnElement[bool]:
    return (
        select(col(Job.id))
        .where(col(Job.kind) == kind.value, col(Job.subject_id) == subject, col(Job.state).in_(OPEN_STATES))
        .exists()
    )
