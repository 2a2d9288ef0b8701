"""Programs from outside that check what we made, so that our own library is not its own judge."""

import os
import shutil
from pathlib import Path
from typing import NoReturn

import pytest

_JARS = ("pdfbox2", "preflight", "xmpbox", "fontbox2", "commons-logging", "javax.activation", "jaxb-api")


def require_tool(name: str) -> str:
    """Return the program's path; without it skip, except in continuous integration, where its absence is a failure."""
    return shutil.which(name) or _miss(name)


def require_archive_validator() -> list[str]:
    """Return the command of the PDF/A-1b validator."""
    java, jars = require_tool("java"), [Path(f"/usr/share/java/{name}.jar") for name in _JARS]
    if not all(jar.exists() for jar in jars):
        _miss("libpdfbox2-java")
    return [java, "-cp", ":".join(map(str, jars)), "org.apache.pdfbox.preflight.Validator_A1b"]


def leave_out(why: str) -> NoReturn:
    """Skip the test with a word; in continuous integration nothing is left out, so there it fails."""
    if os.environ.get("CI") == "true":
        pytest.fail(why)
    pytest.skip(why)


def _miss(name: str) -> NoReturn:
    leave_out(f"{name} is not installed: this check by an independent program did not run (see tests/install_tools.sh)")
