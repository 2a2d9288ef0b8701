"""What this program calls itself, as packages and the command line say it; `pyproject.toml` alone has the number."""

from importlib.metadata import version

_NAME = "route-acceptance"
PROGRAM = f"{_NAME} {version(_NAME)}"
