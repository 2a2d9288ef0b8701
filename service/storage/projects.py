"""Projects: found within what is open to the caller."""

from collections.abc import Collection, Sequence
from uuid import UUID

from sqlmodel import Session, col, select

from service.errors import NotFoundError
from service.storage.audit import FIRST_HASH
from service.storage.tables import Project, ProjectHead


def find_project(session: Session, projects: Collection[UUID] | None, project_id: UUID) -> Project:
    """Return a project that is open to the caller; None as projects opens all."""
    project = session.get(Project, project_id) if projects is None or project_id in projects else None
    if project is None:
        raise NotFoundError(f"No project {project_id}.")
    return project


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
    session.add(project)
    session.flush()
    session.add(ProjectHead(project_id=project.id, audit_hash=FIRST_HASH))
