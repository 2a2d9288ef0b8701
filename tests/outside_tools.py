"""Programs from outside that check what we made, so that our own library is not its own judge."""

import os
import shutil

import pytest


def require_tool(name: str) -> str:
    """Return the program's path; without it skip, except in continuous integration, where its absence is a failure."""
    found = shutil.which(name)
    if found is not None:
        return found
    missing = f"{name} is not installed: this check by an independent program did not run (see tests/install_tools.sh)"
    if os.environ.get("CI") == "true":
        pytest.fail(missing)
    pytest.skip(missing)
