"""Refusals of the command line, in sentences."""

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec

import typer
from pydantic import ValidationError

from worker.sealing.signing_key import SigningKeyNotNamedError
from worker.signing.errors import SigningError

Parameters = ParamSpec("Parameters")


def explained(command: Callable[Parameters, None]) -> Callable[Parameters, None]:
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
