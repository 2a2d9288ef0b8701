"""The demo's commands; `worker.demo` is imported when one of them runs, for no deployment has it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from worker.commands.verify import TrustFiles, check_file, print_report
from worker.logs import start_logging

if TYPE_CHECKING:
    from worker.demo.run import Leaving

app = typer.Typer()
_console = Console()

Output = Annotated[Path, typer.Option(help="Where the packages, the notices and serve.env are left.")]


@app.command()
def demo(output: Output = Path("demo_output")) -> None:
    """Do the main job from nothing: start everything, play the demo route's story over HTTP, leave the packages.

    Needs no set-up, network or root. Ends with 0 only if every step of the story held.
    """
    with _at_hand():
        from worker.demo.run import run_demo  # noqa: PLC0415
    if not run_demo(_console, output, verify=_verify):
        raise typer.Exit(1)


@app.command()
def serve(
    port: Annotated[int, typer.Option(help="The port on 127.0.0.1; 0 takes a free one.")] = 8080,
    output: Output = Path("demo_output"),
) -> None:
    """Run the whole stack on this machine with the demo route, print its tokens, and stay until Ctrl-C.

    Everything it holds is gone when it ends: for trying, not for keeping.
    """
    with _at_hand():
        from worker.demo.run import serve_demo  # noqa: PLC0415
    start_logging()
    if not serve_demo(_console, output, port=port):
        raise typer.Exit(1)


@contextmanager
def _at_hand() -> Iterator[None]:
    """Say in a sentence that the demo is not there."""
    try:
        yield
    except ModuleNotFoundError as error:
        if error.name not in {"worker.demo", "worker.demo.run"}:
            raise
        typer.echo("The demo is no part of this installation, as in an image: run it from a checkout.", err=True)
        raise typer.Exit(2) from error


def _verify(left: "Leaving") -> bool:
    """Verify the packages as any receiver would, print what was found, and tell whether all are good."""
    are_good = True
    for file in left.packages:
        trust = TrustFiles(service=[left.service_root], engineer=[left.engineer])
        checked = check_file(file, trust=trust, server=left.server)
        are_good &= checked.report.is_good
        print_report(_console, file, checked)
    return are_good
