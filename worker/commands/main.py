"""The command line."""

import sys
from pathlib import Path
from typing import Annotated, Any

import orjson
import typer
from pydantic import ValidationError
from rich.console import Console
from typer.core import TyperGroup

from service.settings import ServiceSettings, WorkerSettings
from worker.commands import processes
from worker.commands.demo import demonstration
from worker.commands.issued_status import ServerAddressError
from worker.commands.limited import check_file_in_limits
from worker.commands.page_comparison import check_data, compare_pages
from worker.commands.parent_watch import end_with_parent
from worker.commands.start.check import PartName, check_settings
from worker.commands.start.tried import State as Found
from worker.commands.start.waiting import await_settings
from worker.commands.upkeep import audit, upkeep
from worker.commands.verify import (
    NothingToVerifyError,
    RequirementUnknownError,
    TrustFiles,
    as_document,
    print_report,
    read_required,
)
from worker.logs import start_logging
from worker.program import PROGRAM
from worker.sealing.signing_key import SigningKeyNotNamedError
from worker.signing.errors import SigningError
from worker.signing.report import State


class _Commands(TyperGroup):
    """All commands: what is missing or wrong in the settings is said in a sentence, instead of a trace."""

    # Any: what the library calls a context is private to it.
    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except ValidationError as error:
            for one in error.errors(include_url=False, include_input=False):
                typer.echo(f"{'_'.join(map(str, one['loc'])).upper()}: {one['msg'].lower()}", err=True)
            raise typer.Exit(2) from error
        except (SigningError, SigningKeyNotNamedError) as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(2) from error


app = typer.Typer(
    cls=_Commands,
    help="Turns a fibre crew's splice and test records into an accepted, paid route.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)
app.add_typer(demonstration)
app.add_typer(upkeep)
app.add_typer(audit, name="audit")
console = Console()

_EXIT_CODES = {State.COMPLETE: 0, State.BAD: 1, State.AWAITING: 3}

EndWithInput = Annotated[bool, typer.Option("--end-with-input", hidden=True)]
HeartbeatFile = Annotated[
    Path | None,
    typer.Option(help="A file that is touched while the work that is due is taken: its age tells a supervisor."),
]


def _say_version(is_asked: bool) -> None:
    if is_asked:
        typer.echo(PROGRAM)
        raise typer.Exit


@app.callback()
def _before_any_command(
    _: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Say which program this is, and end."),
    ] = False,
) -> None:
    """Read what is said before a command."""


@app.command()
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
    _start(PartName.API, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_api(host=host, port=port, descriptor=descriptor, heartbeat_file=heartbeat_file)


@app.command()
def relay(heartbeat_file: HeartbeatFile = None, end_with_input: EndWithInput = False) -> None:
    """Tell the workers of jobs that are due. Reads DATABASE_URL and REDIS_URL; two may run.

    It needs a direct connection to PostgreSQL (LISTEN), not one through a pooler.
    """
    _start(PartName.RELAY, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_relay(heartbeat_file)


@app.command()
def worker(
    concurrency: Annotated[int, typer.Option(help="How many jobs at once; each takes about 150 MB.")] = 1,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Judge, draw and sign. Reads DATABASE_URL, REDIS_URL, BLOB_DIR and the signing key's files.

    SIGNING_PKCS12_FILE and SIGNING_PASSPHRASE_FILE name the key; without one the worker does not start.
    """
    _start(PartName.WORKER, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_worker(concurrency=concurrency, heartbeat_file=heartbeat_file)


@app.command()
def reader(
    concurrency: Annotated[int, typer.Option(help="How many files at once; each takes 0.5 GB at most.")] = 1,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Read files that others made, apart from judging. Reads DATABASE_URL, REDIS_URL, BLOB_DIR and SIGNING_TRUST_FILE.

    It has no signing key, and a file made to exhaust it keeps no splice from being judged.
    """
    _start(PartName.READER, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_reader(concurrency=concurrency, heartbeat_file=heartbeat_file)


@app.command()
def check(part: Annotated[PartName, typer.Argument(help="The part whose settings are tried.")]) -> None:
    """Try every file, folder, key and address that the settings of a part name, as it does when it starts.

    Ends with 0 if all are as they have to be, with 2 if one is not. A wrong PIN counts as an attempt.
    """
    tried = list(check_settings(_settings_of(part), part))
    for one in tried:
        typer.echo(f"{one.state.value:<9} {one}")
    raise typer.Exit(0 if all(one.state is Found.GOOD for one in tried) else 2)


@app.command()
def verify(
    file: Annotated[Path, typer.Argument(help="A package, as a PDF.")],
    trust: Annotated[list[Path], typer.Option(help="An authority of the service's seals, as PEM.")],
    trust_contractor: Annotated[
        list[Path] | None, typer.Option(help="The contractor's own certificate, or an authority that issued it.")
    ] = None,
    trust_engineer: Annotated[
        list[Path] | None, typer.Option(help="The engineer's own certificate, or an authority that issued it.")
    ] = None,
    trust_time: Annotated[
        list[Path] | None, typer.Option(help="A time-stamp authority's root, where it is another one, as PEM.")
    ] = None,
    require: Annotated[
        str, typer.Option(help="What has to be there: contractor, decision, engineer, pages; with commas between.")
    ] = "",
    server: Annotated[str | None, typer.Option(help="A service's address, to ask what became of the package.")] = None,
    without_pages: Annotated[
        bool, typer.Option("--without-pages", help="Leave out whether the pages are what the data give.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the report as JSON.")] = False,
) -> None:
    """Say who signed a package, whether anything was changed since, and whether its pages are what its data give.

    Each is trusted in its own role only. Needs no network and no service: the pages are drawn again from the attached
    data and compared. With a server it also says whether the file is what was issued, whole and still the current
    package, and whether the project's audit chain is still the one that it was made on. Ends with 0 if the package is
    complete, 1 if it is bad, 2 if there was nothing to judge, 3 if signatures are awaited.
    """
    compare = check_data if without_pages else compare_pages
    files = TrustFiles(trust, trust_contractor or (), trust_engineer or (), trust_time or ())
    try:
        checked = check_file_in_limits(
            file, trust=files, server=server, compare=compare, required=read_required(require)
        )
    except (NothingToVerifyError, RequirementUnknownError, ServerAddressError) as error:
        if as_json:
            _print_json({"is_good": False, "problems": [str(error)]})
        typer.echo(str(error), err=True)
        raise typer.Exit(2) from error
    if as_json:
        _print_json(as_document(checked))
    else:
        print_report(console, file, checked)
    raise typer.Exit(_EXIT_CODES[checked.report.state])


def _print_json(document: dict[str, Any]) -> None:
    sys.stdout.buffer.write(orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n")


def _start(part: PartName, *, heartbeat_file: Path | None, end_with_input: bool) -> None:
    start_logging()
    if end_with_input:
        end_with_parent()
    await_settings(_settings_of(part), part, heartbeat_file=heartbeat_file)


def _settings_of(part: PartName) -> ServiceSettings:
    return ServiceSettings() if part is PartName.API else WorkerSettings()


if __name__ == "__main__":
    app()
