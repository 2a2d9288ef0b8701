"""All of this folder starts servers or draws much, and is slow: no module has to say it."""

from pathlib import Path

import pytest

FOLDER = Path(__file__).parent


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what stands here, before anything is left out by its marks."""
    for item in items:
        if item.path.is_relative_to(FOLDER):
            item.add_marker(pytest.mark.slow)
