"""A copy of the sources to change: the working tree is never touched, a changed one starts a new copy."""

import shutil
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).parents[2]
MUTATED = ("worker/judgement", "worker/physics")
COPIED = ("service", "worker", "tests", "openapi_examples", "pyproject.toml")
# Run in this order, each mutant is met first by the tests written for its own code.
TESTS = {
    "worker/judgement": ("tests/unit/judgement", "tests/published", "tests/unit/physics"),
    "worker/physics": ("tests/unit/physics", "tests/published", "tests/unit/judgement"),
}
_DRAWING = {
    "test_any_records.py",
    "test_properties.py",
    "test_determinism.py",
    "test_processor_settings.py",
    "test_against_truth.py",
}


def copy_sources(into: Path) -> Path:
    """Copy what the tests need into a folder named by its content, so that a run goes on only with equal sources."""
    tree = into / sources_digest()
    if not tree.exists():
        unfinished = tree.with_suffix(".part")
        shutil.rmtree(unfinished, ignore_errors=True)
        for name in COPIED:
            source, target = ROOT / name, unfinished / name
            target.parent.mkdir(parents=True, exist_ok=True)
            if source.is_dir():
                shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy2(source, target)
        unfinished.rename(tree)
    return tree


def sources_digest() -> str:
    """Return a short digest of all code that is changed and of all tests that may notice."""
    digest = sha256()
    for path in sorted(_watched()):
        digest.update(str(path.relative_to(ROOT)).encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def restore(tree: Path) -> None:
    """Put every file back that an interrupted run left changed."""
    for folder in MUTATED:
        for source in (ROOT / folder).rglob("*.py"):
            target = tree / source.relative_to(ROOT)
            if target.read_bytes() != source.read_bytes():
                shutil.copy2(source, target)


def modules_in(tree: Path) -> list[Path]:
    """Return the modules to change, relative to the copy."""
    return [path.relative_to(tree) for folder in MUTATED for path in sorted((tree / folder).rglob("*.py"))]


def order_tests(module: str) -> list[str]:
    """Return the test files that a change in a module is shown to, in order."""
    folders = next(tests for folder, tests in TESTS.items() if module.startswith(folder))
    files = [path for folder in folders for path in sorted((ROOT / folder).rglob("test_*.py"))]
    own_room = ROOT / "tests" / "unit" / Path(module).parent.relative_to("worker")
    # A file that draws its cases takes seconds whatever it finds; most mutants die of a plain one before.
    in_order = sorted(files, key=lambda path: (path.name in _DRAWING, not path.is_relative_to(own_room)))
    return [str(path.relative_to(ROOT)) for path in in_order]


def _watched() -> Iterator[Path]:
    for folder in (*MUTATED, "service/vocabulary", *TESTS["worker/judgement"], "tests/reference", "tests/simulator"):
        yield from (ROOT / folder).rglob("*.py")
    yield ROOT / "tests" / "factories.py"
