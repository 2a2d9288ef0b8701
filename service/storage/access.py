"""Who may do what: projects, the tokens that open them, and people with their sides, certificates and printed names."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, and_, func, update
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import Session, col, select

from service.storage.audit import FIRST_HASH
from service.storage.jobs import OPEN_STATES
from service.storage.rows import required
from service.storage.session import add_rows
from service.storage.tables import (
    Decision,
    Job,
    PackageFile,
    Person,
    PersonCertificate,
    PersonSide,
    Project,
    ProjectHead,
    Submission,
    Token,
    TokenProject,
)
from service.vocabulary.people import PartySide, PrintedPerson
from service.vocabulary.states import JobKind


def find_project(session: Session, projects: Collection[UUID] | None, project_id: UUID) -> Project:
    """Return a project that is open to the caller; None as projects opens all."""
    project = session.get(Project, project_id) if projects is None or project_id in projects else None
    return required(project, "project", project_id)


def project_of(session: Session, project_id: UUID) -> Project:
    """Return the project that a row belongs to."""
    return session.get_one(Project, project_id)


def project_with_code(session: Session, code: str) -> Project | None:
    """Return the project with a code."""
    return session.exec(select(Project).where(Project.code == code)).one_or_none()


def all_projects(session: Session) -> Sequence[Project]:
    """Return every project in order of its code."""
    return session.exec(select(Project).order_by(Project.code)).all()


def projects_among(session: Session, ids: Collection[UUID]) -> set[UUID]:
    """Return those ids that are a project's."""
    return set(session.exec(select(Project.id).where(col(Project.id).in_(ids))))


def add_project(session: Session, project: Project) -> None:
    """Add a project with its head row, from which its notices and audit entries are numbered."""
    add_rows(session, [project])
    session.add(ProjectHead(project_id=project.id, audit_hash=FIRST_HASH))


def token_with_digest(session: Session, sha256: str) -> tuple[Token, frozenset[UUID]] | None:
    """Return the token whose text has a digest, with the projects that it names."""
    rows = session.execute(
        select(Token, TokenProject.project_id)
        .outerjoin(TokenProject, col(TokenProject.token_id) == col(Token.id))
        .where(Token.token_sha256 == sha256)
    ).all()
    return (rows[0][0], frozenset(row[1] for row in rows if row[1] is not None)) if rows else None


def add_token(session: Session, token: Token, projects: Collection[UUID]) -> None:
    """Add a token that opens some projects."""
    add_rows(session, [token])
    session.add_all(TokenProject(token_id=token.id, project_id=project_id) for project_id in projects)


def lock_token(session: Session, token_id: UUID) -> Token:
    """Return a token's row and hold its lock."""
    return required(session.get(Token, token_id, with_for_update=True), "token", token_id)


def projects_opened_by(session: Session, token: Token) -> Collection[UUID]:
    """Return the projects that a token names."""
    return session.exec(select(TokenProject.project_id).where(TokenProject.token_id == token.id)).all()


def holder_of(session: Session, token_id: UUID | None) -> str | None:
    """Return who holds a token, by opaque id; None where it names nobody, or there is none."""
    token = None if token_id is None else session.get(Token, token_id)
    return None if token is None else token.holder


def claim_for(session: Session, project_id: UUID, person_id: str, side: PartySide) -> bool:
    """Make an id a side's, unless it is one's already. Say whether it is that side's now."""
    statement = insert(PersonSide).values(project_id=project_id, person_id=person_id, side=side)
    session.execute(statement.on_conflict_do_nothing())
    return side_of(session, project_id, person_id) is side


def claim_unused(session: Session, project_id: UUID, people: Collection[str], side: PartySide) -> None:
    """Make those ids a side's that nobody has used yet."""
    statement = select(PersonSide.person_id).where(
        PersonSide.project_id == project_id, col(PersonSide.person_id).in_(people)
    )
    unused = set(people) - set(session.exec(statement).all())
    if unused:
        # In order: two requests would else wait for each other.
        rows = [{"project_id": project_id, "person_id": one, "side": side} for one in sorted(unused)]
        session.execute(insert(PersonSide).values(rows).on_conflict_do_nothing())


def side_of(session: Session, project_id: UUID, person_id: str) -> PartySide | None:
    """Return whose person an id is; it stays that when the name is erased. None where nobody has used it yet."""
    row = session.get(PersonSide, (project_id, person_id))
    return None if row is None else row.side


def find_person(session: Session, project_id: UUID, person_id: str | None) -> Person | None:
    """Return the person with an id; None where nobody has, or the name was erased."""
    return None if person_id is None else session.get(Person, (project_id, person_id))


def keep_name(session: Session, person: Person) -> Person:
    """Give an id its name and role, or others."""
    return session.merge(person)


def erase_name(session: Session, person: Person, *, now: datetime) -> None:
    """Erase a name wherever it stands: its row, what acts kept of it, and certificates, which are retired.

    Fingerprints and dates of the certificates stay.
    """
    session.delete(person)
    session.execute(
        update(PersonCertificate)
        .where(*_certificates(person.project_id, person.id))
        .values(subject=None, pem=None, retired_at=func.coalesce(col(PersonCertificate.retired_at), now))
    )
    forget_printed_names(session, person.project_id, person.id)


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
    statement = select(Person.id).where(Person.project_id == project_id, col(Person.id).in_(people))
    # Locked: who erases the name right now looks for what is to be printed only once this is committed.
    named = set(session.exec(statement.with_for_update(read=True)))
    for person_id in sorted(set(people) - named):
        forget_printed_names(session, project_id, person_id)


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


def certificates_of(session: Session, project: Project, person_id: str) -> Sequence[PersonCertificate]:
    """Return every certificate that a person signs or signed with, in the order of registration."""
    statement = select(PersonCertificate).where(*_certificates(project.id, person_id))
    return session.exec(statement.order_by(col(PersonCertificate.registered_at), col(PersonCertificate.sha256))).all()


def fingerprints_of(session: Session, project_id: UUID, person_id: str) -> Sequence[str]:
    """Return the SHA-256 of the certificates that a person may sign with now."""
    statement = select(PersonCertificate.sha256).where(*_certificates(project_id, person_id))
    return session.exec(statement.where(col(PersonCertificate.retired_at).is_(None))).all()


def lock_certificate(session: Session, project: Project, sha256: str) -> PersonCertificate | None:
    """Return a certificate by its fingerprint and hold its row's lock."""
    return session.get(PersonCertificate, (project.id, sha256), with_for_update=True)


def has_signed(session: Session, certificate: PersonCertificate) -> bool:
    """Tell whether a certificate has ever signed a package of its project."""
    signed = select(PackageFile.sequence).where(
        PackageFile.project_id == certificate.project_id, PackageFile.certificate_sha256 == certificate.sha256
    )
    return session.exec(signed.limit(1)).first() is not None


def _named(session: Session, project_id: UUID, person_id: str) -> PrintedPerson:
    """Return a person by name and position; of one whose name was erased the id is left."""
    person = find_person(session, project_id, person_id)
    return PrintedPerson(name=person_id) if person is None else PrintedPerson(name=person.name, position=person.role)


def _certificates(project_id: UUID, person_id: str) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return col(PersonCertificate.project_id) == project_id, col(PersonCertificate.person_id) == person_id


def _submitted_by(project_id: UUID, person_id: str) -> ColumnElement[bool]:
    return and_(
        col(Submission.project_id) == project_id,
        col(Submission.responsible_person) == person_id,
        col(Submission.responsible_name).is_not(None),
    )


def _decided_by(project_id: UUID, person_id: str) -> ColumnElement[bool]:
    return and_(
        col(Decision.project_id) == project_id,
        col(Decision.token_id).in_(select(Token.id).where(Token.holder == person_id)),
        col(Decision.decided_by_name).is_not(None),
    )


def _is_to_be_done(kind: JobKind, subject: Any) -> ColumnElement[bool]:
    return select(Job.id).where(Job.kind == kind, Job.subject_id == subject, col(Job.state).in_(OPEN_STATES)).exists()
