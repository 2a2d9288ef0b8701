"""The simulator, and the bodies that it posts, share no code with what they are used to check."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import tests.bodies
import tests.simulator

MODULES = sorted(
    path for package in (tests.simulator, tests.bodies) for path in Path(str(package.__file__)).parent.glob("*.py")
)
OURS = ("tests.simulator.", "tests.bodies.")


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
        if name.split(".")[0] not in sys.stdlib_module_names | {"numpy"} and not f"{name}.".startswith(OURS)
    }
    assert strangers == set()


def test_the_simulator_has_modules_to_look_at() -> None:
    assert len(MODULES) > 5
