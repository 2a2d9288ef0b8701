"""The command line: which commands there are, and what is said of settings that are missing or wrong."""

from collections.abc import Mapping
from importlib import import_module
from typing import Annotated, Any

import typer
from pydantic import ValidationError
from typer.core import TyperGroup

from worker.program import PROGRAM
from worker.signing.errors import SigningError

# Where each command is: only what is asked for is loaded, so that judging a file does not wait for a web server.
_MODULES: Mapping[str, tuple[str, ...]] = {
    "parts": ("api", "relay", "worker", "reader", "check"),
    "verification": ("verify",),
    "demo": ("demo", "serve"),
    "upkeep": ("migrate", "parked", "requeue", "token", "audit"),
}


class _Commands(TyperGroup):
    """All commands: what is missing or wrong in the settings is said in a sentence, instead of a trace."""

    # Any: what the library calls a context and a command is private to it.
    def list_commands(self, ctx: Any) -> list[str]:
        """Return all names, in the order in which they are shown."""
        return [name for names in _MODULES.values() for name in names]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Load one command."""
        found = next((module for module, names in _MODULES.items() if cmd_name in names), None)
        if found is None:
            return None
        group = typer.main.get_group(import_module(f"{__package__}.{found}").app)
        return group.get_command(ctx, cmd_name)

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except ValidationError as error:
            for one in error.errors(include_url=False, include_input=False):
                typer.echo(f"{'_'.join(map(str, one['loc'])).upper()}: {one['msg'].lower()}", err=True)
            raise typer.Exit(2) from error
        except SigningError as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(2) from error


app = typer.Typer(
    cls=_Commands,
    help="Turns a fibre crew's splice and test records into an accepted, paid route.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


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


if __name__ == "__main__":
    app()
