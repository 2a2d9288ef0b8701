"""The compose file as an engine would read it: variables put in, services with all that they inherit."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import yaml

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "docker-compose.yml").read_text()
OURS = ("migrate", "api", "relay", "worker", "reader")
SECRETS = {"POSTGRES_PASSWORD": "p", "OWNER_PASSWORD": "o", "APPLICATION_PASSWORD": "a"}
# https://docs.docker.com/reference/compose-file/interpolation: `:` takes what is empty for unset; `$$` is one dollar.
_VARIABLE = re.compile(r"\$(?:(?P<dollar>\$)|\{(?P<name>\w+)(?:(?P<mark>:?[-?])(?P<rest>[^}]*))?\})")


class VariableMissingError(Exception):
    """A variable that the file insists on is not set."""


class LetIn(NamedTuple):
    """What the engine is given to make an image of, and what of that is left out."""

    names: frozenset[str]
    left_out: frozenset[str]


def let_into_image() -> LetIn:
    """Read `.dockerignore`: all is ignored but what is named, and of that what is named after it."""
    lines = [line for line in (ROOT / ".dockerignore").read_text().splitlines() if not line.startswith("#")]
    assert lines[0] == "*"
    names = frozenset(line[1:] for line in lines if line.startswith("!"))
    return LetIn(names, frozenset(line for line in lines[1:] if line[0] not in "!*"))


def read_compose(variables: Mapping[str, str]) -> Any:
    """Return the whole document under some variables, those of `.env`."""

    def put_in(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: put_in(one) for key, one in value.items()}
        if isinstance(value, list):
            return [put_in(one) for one in value]
        return _VARIABLE.sub(lambda found: _value_of(found, variables), value) if isinstance(value, str) else value

    return put_in(yaml.safe_load(TEXT))


def _value_of(found: "re.Match[str]", variables: Mapping[str, str]) -> str:
    if found["dollar"]:
        return "$"
    value, mark = variables.get(found["name"]), found["mark"] or ""
    if value or (value is not None and not mark.startswith(":")):
        return value
    if mark.endswith("?"):
        raise VariableMissingError(found["name"])
    return found["rest"] or ""
