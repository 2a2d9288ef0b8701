"""What whoever runs the service does by hand: migrate, issue tokens, look after jobs, check the chain."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Annotated
from uuid import UUID

import typer
from sqlalchemy import Engine

from service.actions.access.audit import verify_chain
from service.actions.access.tokens import TokenForm, issue_token
from service.settings import DatabaseSettings
from service.storage.access import all_projects
from service.storage.migrations import migrate as migrate_database
from service.storage.session import make_engine, snapshot, transaction
from service.vocabulary.words import TokenKind
from worker.commands.jobs import list_given_up
from worker.commands.jobs import requeue as requeue_jobs

upkeep = typer.Typer()
audit = typer.Typer(help="Look at the chain of what was done.", no_args_is_help=True)


@upkeep.command()
def migrate() -> None:
    """Bring the database to the newest schema, as the owner's role.

    Reads MIGRATION_DATABASE_URL (the owner's role) and APPLICATION_ROLE, which must exist; the service and the worker
    use DATABASE_URL with the application's role, which can change neither schema nor history.
    """
    settings = DatabaseSettings()
    url = settings.migration_database_url or settings.database_url
    migrate_database(url.get_secret_value(), application_role=settings.application_role)
    typer.echo("The schema is the newest.")


@upkeep.command()
def parked(
    again: Annotated[bool, typer.Option("--again", help="Make them due again, once their reason is mended.")] = False,
) -> None:
    """List the jobs that were given up, with their reasons; ends with 1 if there are any. Reads DATABASE_URL.

    Those that wait for something outside are tried again every ten minutes by themselves, a judge's also with the next
    record of its route; the others wait for `requeue`, or for this command with --again, which is the same for all.
    """
    if again:
        _requeue(None)
        return
    with _engine(_database_url()) as engine, transaction(engine) as session:
        found = list_given_up(session)
    for job in found:
        typer.echo(f"{job.kind} {job.subject_id}{', waiting' if job.waits else ''}: {job.reason}")
    raise typer.Exit(1 if found else 0)


@upkeep.command()
def requeue(
    subjects: Annotated[list[UUID] | None, typer.Argument(help="The ids that `parked` lists; all, if none.")] = None,
) -> None:
    """Make jobs that were given up due again. Reads DATABASE_URL.

    A package whose segments are in a newer submission or accepted by now is refused; then it ends with 1.
    """
    _requeue(subjects)


def _requeue(subjects: list[UUID] | None) -> None:
    with _engine(_database_url()) as engine, transaction(engine) as session:
        found = requeue_jobs(session, only=subjects)
    for job in found:
        typer.echo(f"{job.kind} {job.subject_id}: {job.refusal or 'due again'}")
    unknown = set(subjects or ()) - {job.subject_id for job in found}
    for subject in sorted(map(str, unknown)):
        typer.echo(f"{subject}: nothing of it was given up", err=True)
    raise typer.Exit(1 if unknown or any(job.refusal for job in found) else 0)


def _database_url() -> str:
    return DatabaseSettings().database_url.get_secret_value()


@contextmanager
def _engine(database_url: str) -> Iterator[Engine]:
    engine = make_engine(database_url, pool_size=1)
    try:
        yield engine
    finally:
        engine.dispose()


@upkeep.command()
def token(
    kind: Annotated[TokenKind, typer.Argument(help="What the holder may do.")],
    project: Annotated[list[UUID] | None, typer.Option(help="A project it opens; may be repeated.")] = None,
    holder: Annotated[str | None, typer.Option(help="The opaque id of the person who holds it.")] = None,
    days: Annotated[int | None, typer.Option(min=1, max=20_000, help="After how many days it ends.")] = None,
) -> None:
    """Issue a token and print it, this once. The first one, an administrator's, comes from here.

    Reads DATABASE_URL. An administrator's token opens all projects and decides nothing in them.
    """
    now = datetime.now(UTC)
    ends_at = None if days is None else now + timedelta(days=days)
    form = TokenForm(kind=kind, projects=tuple(project or ()), holder=holder, expires_at=ends_at)
    with _engine(_database_url()) as engine, transaction(engine) as session:
        _, text = issue_token(session, form, now=now, issuer=None)
    engine.dispose()
    typer.echo(text)


@audit.command("verify")
def verify_audit() -> None:
    """Recompute every project's chain of audit entries and name the first bad one of each. Reads DATABASE_URL."""
    bad = first_bad_entries(_database_url())
    for code, sequence in bad.items():
        typer.echo(f"{code}: {'the chain is whole' if sequence is None else f'entry {sequence} is the first bad one'}")
    raise typer.Exit(1 if any(sequence is not None for sequence in bad.values()) else 0)


def first_bad_entries(database_url: str) -> dict[str, int | None]:
    """Return the number of the first bad audit entry of each project, None where the chain is whole."""
    with _engine(database_url) as engine, snapshot(engine) as session:
        return {project.code: verify_chain(session, project.id) for project in all_projects(session)}
