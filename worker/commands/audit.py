"""Recompute the audit chains of a database."""

from sqlmodel import select

from service.actions.access.audit import verify_chain
from service.storage.session import make_engine, snapshot
from service.storage.tables import Project


def first_bad_entries(database_url: str) -> dict[str, int | None]:
    """Return the number of the first bad audit entry of each project, None where the chain is whole."""
    engine = make_engine(database_url, pool_size=1)
    try:
        with snapshot(engine) as session:
            projects = session.exec(select(Project).order_by(Project.code)).all()
            return {project.code: verify_chain(session, project.id) for project in projects}
    finally:
        engine.dispose()
