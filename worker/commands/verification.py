"""The command that judges a package's file."""

import sys
from pathlib import Path
from typing import Annotated, Any

import orjson
import typer
from rich.console import Console

from worker.commands.issued_status import ServerAddressError
from worker.commands.limited import check_file_in_limits
from worker.commands.page_comparison import check_data, compare_pages
from worker.commands.verify import (
    NothingToVerifyError,
    RequirementUnknownError,
    TrustFiles,
    as_document,
    print_report,
    read_required,
)
from worker.signing.report import State

app = typer.Typer()
console = Console()

_EXIT_CODES = {State.COMPLETE: 0, State.BAD: 1, State.AWAITING: 3}


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
