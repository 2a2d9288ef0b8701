"""The command line."""

import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, ParamSpec
from uuid import UUID

import orjson
import typer
from pydantic import ValidationError
from rich.console import Console

from service.actions.tokens import issue_token
from service.settings import DatabaseSettings
from service.storage.migrations import migrate as migrate_database
from service.storage.session import make_engine, transaction
from service.vocabulary.words import TokenKind
from worker.commands import parts
from worker.commands.audit import first_bad_entries
from worker.commands.demo import run_demo, serve_demo
from worker.commands.jobs import list_given_up
from worker.commands.jobs import requeue as requeue_jobs
from worker.commands.logs import start_logging
from worker.commands.page_proof import prove_data, prove_pages
from worker.commands.parent import end_with_parent
from worker.commands.standing import ServerAddressError
from worker.commands.verify import NothingToVerifyError, as_document, check_file, print_report
from worker.signing.errors import SigningError
from worker.steps.signing_key import SigningKeyNotNamedError

app = typer.Typer(
    help="Turns a fibre crew's splice and test records into an accepted, paid route.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)
audit = typer.Typer(help="Look at the chain of what was done.", no_args_is_help=True)
app.add_typer(audit, name="audit")
console = Console()
Parameters = ParamSpec("Parameters")

EndWithInput = Annotated[bool, typer.Option("--end-with-input", hidden=True)]
HeartbeatFile = Annotated[
    Path | None,
    typer.Option(help="A file that is touched while the work that is due is taken: its age tells a supervisor."),
]


def _explained(command: Callable[Parameters, None]) -> Callable[Parameters, None]:
    """Say in a sentence what is missing or wrong in the settings, instead of a trace."""

    @wraps(command)
    def run(*args: Parameters.args, **kwargs: Parameters.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except ValidationError as error:
            for one in error.errors(include_url=False, include_input=False):
                typer.echo(f"{'_'.join(map(str, one['loc'])).upper()}: {one['msg'].lower()}", err=True)
            raise typer.Exit(2) from error
        except (SigningError, SigningKeyNotNamedError) as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(2) from error

    return run


@app.command()
@_explained
def demo(
    output: Annotated[Path, typer.Option(help="Where the packages and the notices are left.")] = Path("demo_output"),
) -> None:
    """Do the main job from nothing: start everything, play the demo route's story over HTTP, leave the packages.

    Needs no set-up, network or root. Ends with 0 only if every step of the story held.
    """
    if not run_demo(console, output):
        raise typer.Exit(1)


@app.command()
@_explained
def serve(
    port: Annotated[int, typer.Option(help="The port on 127.0.0.1; 0 takes a free one.")] = 8080,
    output: Annotated[Path, typer.Option(help="Where serve.env is written, for a shell.")] = Path("demo_output"),
) -> None:
    """Run the whole stack on this machine with the demo route, print its tokens, and stay until Ctrl-C.

    Everything it holds is gone when it ends: for trying, not for keeping.
    """
    start_logging()
    serve_demo(console, output, port=port)


@app.command()
@_explained
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
@_explained
def api(
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="The port to listen on.")] = 8080,
    descriptor: Annotated[int | None, typer.Option(hidden=True)] = None,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Answer requests. Reads DATABASE_URL and BLOB_DIR; knows nothing of Redis.

    Any number may run behind one address. TLS and rate limits belong to the proxy in front.
    """
    _start(end_with_input=end_with_input)
    parts.run_api(host=host, port=port, descriptor=descriptor, heartbeat_file=heartbeat_file)


@app.command()
@_explained
def relay(heartbeat_file: HeartbeatFile = None, end_with_input: EndWithInput = False) -> None:
    """Tell the workers of jobs that are due. Reads DATABASE_URL and REDIS_URL; two may run.

    It needs a direct connection to PostgreSQL (LISTEN), not one through a pooler.
    """
    _start(end_with_input=end_with_input)
    parts.run_relay(heartbeat_file)


@app.command()
@_explained
def worker(
    concurrency: Annotated[int, typer.Option(help="How many jobs at once; each takes about 150 MB.")] = 1,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Judge, draw and sign. Reads DATABASE_URL, REDIS_URL, BLOB_DIR and the signing key's files.

    SIGNING_PKCS12_FILE and SIGNING_PASSPHRASE_FILE name the key; without one the worker does not start.
    """
    _start(end_with_input=end_with_input)
    parts.run_worker(concurrency=concurrency, heartbeat_file=heartbeat_file)


@app.command()
@_explained
def reader(
    concurrency: Annotated[int, typer.Option(help="How many files at once.")] = 1,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Read files that others made, apart from judging. Reads DATABASE_URL, REDIS_URL, BLOB_DIR and SIGNING_TRUST_FILE.

    It has no signing key, and a file made to exhaust it keeps no splice from being judged.
    """
    _start(end_with_input=end_with_input)
    parts.run_reader(concurrency=concurrency, heartbeat_file=heartbeat_file)


@app.command()
@_explained
def parked(
    again: Annotated[bool, typer.Option("--again", help="Make them due again, once their reason is mended.")] = False,
) -> None:
    """List the jobs that were given up, with their reasons; ends with 1 if there are any. Reads DATABASE_URL.

    Those that wait for something outside are tried again every hour by themselves, a judge's also with the next record
    of its route; the others wait for `requeue`, or for this command with --again, which is the same for all.
    """
    if again:
        _requeue(None)
        return
    found = list_given_up(_database_url())
    for job in found:
        typer.echo(f"{job.kind} {job.subject_id}{', waiting' if job.waits else ''}: {job.reason}")
    raise typer.Exit(1 if found else 0)


@app.command()
@_explained
def requeue(subjects: Annotated[list[UUID], typer.Argument(help="The ids that `parked` lists.")]) -> None:
    """Make jobs that were given up due again. Reads DATABASE_URL.

    A package whose segments are in a newer submission or accepted by now is refused; then it ends with 1.
    """
    _requeue(subjects)


def _requeue(subjects: list[UUID] | None) -> None:
    found = requeue_jobs(_database_url(), only=subjects)
    for job in found:
        typer.echo(f"{job.kind} {job.subject_id}: {job.refusal or 'due again'}")
    unknown = set(subjects or ()) - {job.subject_id for job in found}
    for subject in sorted(map(str, unknown)):
        typer.echo(f"{subject}: nothing of it was given up", err=True)
    raise typer.Exit(1 if unknown or any(job.refusal for job in found) else 0)


def _database_url() -> str:
    return DatabaseSettings().database_url.get_secret_value()


@app.command()
@_explained
def token(
    kind: Annotated[TokenKind, typer.Argument(help="What the holder may do.")],
    project: Annotated[list[UUID] | None, typer.Option(help="A project it opens; may be repeated.")] = None,
    holder: Annotated[str | None, typer.Option(help="The opaque id of the person who holds it.")] = None,
    days: Annotated[int | None, typer.Option(min=1, help="After how many days it ends.")] = None,
) -> None:
    """Issue a token and print it, this once. The first one, an administrator's, comes from here.

    Reads DATABASE_URL. An administrator's token opens all projects and decides nothing in them.
    """
    now = datetime.now(UTC)
    engine = make_engine(DatabaseSettings().database_url.get_secret_value(), pool_size=1)
    with transaction(engine) as session:
        _, text = issue_token(
            session,
            kind=kind,
            projects=project or [],
            holder=holder,
            expires_at=None if days is None else now + timedelta(days=days),
            now=now,
            issuer=None,
        )
    engine.dispose()
    typer.echo(text)


@app.command()
@_explained
def verify(
    file: Annotated[Path, typer.Argument(help="A package, as a PDF.")],
    trust: Annotated[list[Path], typer.Option(help="A root certificate, as PEM.")],
    trust_time: Annotated[
        list[Path] | None, typer.Option(help="A time-stamp authority's root, where it is another one, as PEM.")
    ] = None,
    server: Annotated[str | None, typer.Option(help="A service's address, to ask what became of the package.")] = None,
    without_pages: Annotated[
        bool, typer.Option("--without-pages", help="Leave out whether the pages are what the data give.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the report as JSON.")] = False,
) -> None:
    """Say who signed a package, whether anything was changed since, and whether its pages are what its data give.

    Needs no network and no service: the pages are drawn again from the attached data and compared. With a server it
    also says whether the file is what was issued and still the current package, and whether the project's audit chain
    is still the one that it was made on. Ends with 0 only if every rule held, with 2 if there was nothing to judge.
    """
    prove = prove_data if without_pages else prove_pages
    try:
        checked = check_file(file, trust=trust, time_trust=trust_time, server=server, prove=prove)
    except (NothingToVerifyError, ServerAddressError) as error:
        if as_json:
            _print_json({"is_good": False, "problems": [str(error)]})
        typer.echo(str(error), err=True)
        raise typer.Exit(2) from error
    if as_json:
        _print_json(as_document(checked))
    else:
        print_report(console, file, checked)
    raise typer.Exit(0 if checked.report.is_good else 1)


@audit.command("verify")
@_explained
def verify_audit() -> None:
    """Recompute every project's chain of audit entries and name the first bad one of each. Reads DATABASE_URL."""
    bad = first_bad_entries(DatabaseSettings().database_url.get_secret_value())
    for code, sequence in bad.items():
        typer.echo(f"{code}: {'the chain is whole' if sequence is None else f'entry {sequence} is the first bad one'}")
    raise typer.Exit(1 if any(sequence is not None for sequence in bad.values()) else 0)


def _print_json(document: dict[str, Any]) -> None:
    sys.stdout.buffer.write(orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n")


def _start(*, end_with_input: bool) -> None:
    start_logging()
    if end_with_input:
        end_with_parent()


if __name__ == "__main__":
    app()
