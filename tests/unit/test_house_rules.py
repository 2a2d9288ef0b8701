"""The rules of the house that no linter knows: sizes, purity, arrows, and how the physics is written down."""

import ast
import importlib
import inspect
import pkgutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import worker.physics

ROOT = Path(__file__).parents[2]
MAX_FILE, MAX_FUNCTION = 300, 50
MODULES = sorted(
    path.relative_to(ROOT)
    for root in ("service", "worker")
    for path in (ROOT / root).rglob("*.py")
    if "migrations" not in path.parts
)
PURE_PACKAGES = ["worker.physics", "worker.judgement", "worker.package"]
IMPURE = [
    "sqlalchemy",
    "sqlmodel",
    "fastapi",
    "celery",
    "kombu",
    "redis",
    "httpx",
    "aiohttp",
    "psycopg",
    "pyhanko",
    "structlog",
]
# Asked of our own files only: pydantic itself brings socket along, through the standard library's e-mail.
CLOCK_CHANCE_AND_WORLD = {"time", "random", "secrets", "uuid", "os", "logging", "socket", "subprocess"}
# The module that reads an instant's text also reads the clock, and the zone of the machine.
CLOCKS_OF_DATETIME = {"now", "utcnow", "today", "fromtimestamp", "astimezone", "timestamp"}


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_files_and_functions_stay_short(module: Path) -> None:
    source = (ROOT / module).read_text()
    assert source.count("\n") <= MAX_FILE
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            prose = len((ast.get_docstring(node, clean=False) or "").splitlines())
            assert (node.end_lineno or node.lineno) - node.lineno + 1 - prose <= MAX_FUNCTION, node.name


# A table of many equal things, which says so itself.
MODULES_IN_A_ROOM = 15
TABLES = {"worker/judgement/rules/kinds", "worker/package/sections"}
ROOMS = sorted({path.parent for path in MODULES})


@pytest.mark.parametrize("room", ROOMS, ids=str)
def test_a_room_holds_few_modules_and_says_what_it_is(room: Path) -> None:
    said = ast.get_docstring(ast.parse((ROOT / room / "__init__.py").read_text())) or ""
    assert said
    if str(room) in TABLES:
        assert "table of equal things" in said
    else:
        assert (
            len([path for path in MODULES if path.parent == room and path.name != "__init__.py"]) <= MODULES_IN_A_ROOM
        )


def modules_imported_with(package: str) -> set[str]:
    """Import every module of a package in a fresh interpreter and return the names of all that came along."""
    program = (
        "import importlib, pkgutil, sys\n"
        f"package = importlib.import_module({package!r})\n"
        "for module in pkgutil.walk_packages(package.__path__, package.__name__ + '.'):\n"
        "    importlib.import_module(module.name)\n"
        "print('\\n'.join(sys.modules))"
    )
    found = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    return set(found.stdout.split())


@pytest.mark.parametrize("package", PURE_PACKAGES)
def test_a_pure_package_brings_nothing_impure_along(package: str) -> None:
    imported = modules_imported_with(package)
    assert package in imported
    assert imported.isdisjoint(IMPURE)


@pytest.mark.parametrize("folder", ["physics", "judgement"])
def test_judging_reads_no_clock_no_chance_and_no_world(folder: str) -> None:
    for path in sorted((ROOT / "worker" / folder).rglob("*.py")):
        nodes = list(ast.walk(ast.parse(path.read_text())))
        imported = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
        imported |= {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
        assert imported.isdisjoint(CLOCK_CHANCE_AND_WORLD), path
        asked = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
        assert asked.isdisjoint(CLOCKS_OF_DATETIME), path


def test_the_import_arrows_hold() -> None:
    checked = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert checked.returncode == 0, checked.stdout + checked.stderr


def physics_modules() -> list[ModuleType]:
    """Return the modules of the physics."""
    return [
        importlib.import_module(f"worker.physics.{module.name}")
        for module in pkgutil.iter_modules(worker.physics.__path__)
        if module.name not in {"arrays", "constants", "errors"}
    ]


PHYSICS_FUNCTIONS = [
    function
    for module in physics_modules()
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if function.__module__ == module.__name__ and not name.startswith("_")
]


def test_the_physics_has_functions_to_check() -> None:
    assert len(PHYSICS_FUNCTIONS) >= 7


@pytest.mark.parametrize("function", PHYSICS_FUNCTIONS, ids=lambda function: function.__name__)
def test_a_physics_function_says_its_units_and_sources(function: Callable[..., np.ndarray]) -> None:
    prose = inspect.getdoc(function) or ""
    positions = [prose.find(f"\n{name}\n---") for name in ("Parameters", "Returns", "Raises", "Notes", "References")]
    assert min(positions) > 0, "a section is missing"
    assert positions == sorted(positions)
    assert ".. [1]" in prose[positions[-1] :]
    parameters = prose[positions[0] : positions[1]]
    for name in inspect.signature(function).parameters:
        own = parameters.split(f"\n{name} : ", 1)[1].split(" : ")[0]
        assert "[" in own.partition("\n")[2], f"{name} has no unit"
