"""What whoever runs the service does by hand: migrate, issue tokens, look after jobs, check the chain."""

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Annotated
from uuid import UUID

import typer
from sqlalchemy import Engine
from sqlmodel import Session

from service.actions.acceptance.submissions import replaced_by
from service.actions.access.audit import verify_chain
from service.actions.access.tokens import TokenForm, issue_token
from service.settings import DatabaseSettings
from service.storage.access import all_projects
from service.storage.jobs import given_up_jobs, make_due
from service.storage.migrations import migrate as migrate_database
from service.storage.routes import lock_route
from service.storage.session import make_engine, snapshot, transaction
from service.storage.submissions import find_submission
from service.storage.tables import Job
from service.vocabulary.states import JobKind, JobState
from service.vocabulary.words import TokenKind

app = typer.Typer()
audit = typer.Typer(help="Look at the chain of what was done.", no_args_is_help=True)
app.add_typer(audit, name="audit")


@app.command()
def migrate() -> None:
    """Bring the database to the newest schema, as the owner's role.

    Reads MIGRATION_DATABASE_URL (the owner's role) and APPLICATION_ROLE, which must exist; the service and the worker
    use DATABASE_URL with the application's role, which can change neither schema nor history.
    """
    settings = DatabaseSettings()
    url = settings.migration_database_url or settings.database_url
    migrate_database(url.get_secret_value(), application_role=settings.application_role)
    typer.echo("The schema is the newest.")


@app.command()
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
        found = given_up_jobs(session)
    for job in found:
        waiting = ", waiting" if job.state is JobState.WAITING else ""
        typer.echo(f"{job.kind} {job.subject_id}{waiting}: {job.last_error}")
    raise typer.Exit(1 if found else 0)


@app.command()
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
    for job, refusal in found:
        typer.echo(f"{job.kind} {job.subject_id}: {refusal or 'due again'}")
    unknown = set(subjects or ()) - {job.subject_id for job, _ in found}
    for subject in sorted(map(str, unknown)):
        typer.echo(f"{subject}: nothing of it was given up", err=True)
    raise typer.Exit(1 if unknown or any(refusal for _, refusal in found) else 0)


def requeue_jobs(session: Session, *, only: Collection[UUID] | None = None) -> Sequence[tuple[Job, str | None]]:
    """Make given-up jobs due, all or those of some subjects; each comes with what speaks against that, and stays."""
    jobs = [job for job in given_up_jobs(session) if only is None or job.subject_id in only]
    found = [(job, _refusal(session, job)) for job in jobs]
    for job, refusal in found:
        if refusal is None:
            make_due(session, job.kind, project_id=job.project_id, subject_id=job.subject_id)
    return found


def _refusal(session: Session, job: Job) -> str | None:
    if job.kind is not JobKind.PACKAGE:
        return None
    submission = find_submission(session, [job.project_id], job.subject_id)
    # Under the route's lock, as everything that changes it.
    return replaced_by(session, lock_route(session, [job.project_id], submission.route_id), submission)


def _database_url() -> str:
    return DatabaseSettings().database_url.get_secret_value()


@contextmanager
def _engine(database_url: str) -> Iterator[Engine]:
    engine = make_engine(database_url, pool_size=1)
    try:
        yield engine
    finally:
        engine.dispose()


@app.command()
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
