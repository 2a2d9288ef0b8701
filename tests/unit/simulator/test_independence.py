"""The simulator shares no code with what it is used to check."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import tests.simulator

MODULES = sorted(Path(tests.simulator.__file__).parent.glob("*.py"))


def imported_by(module: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(module.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            yield str(node.module)


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.name)
def test_a_simulator_module_imports_numpy_and_the_standard_library_only(module: Path) -> None:
    strangers = {
        name
        for name in imported_by(module)
        if name.split(".")[0] not in sys.stdlib_module_names | {"numpy"} and not name.startswith("tests.simulator.")
    }
    assert strangers == set()


def test_the_simulator_has_modules_to_look_at() -> None:
    assert len(MODULES) > 5
