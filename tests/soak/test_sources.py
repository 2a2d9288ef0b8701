"""A run of mutants changes a copy, and puts back what an interrupted one left changed."""

from pathlib import Path

import pytest

from tests.soak.sources import MUTATED, ROOT, copy_sources, modules_in, order_tests, restore, sources_digest


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return one copy for all tests."""
    return copy_sources(tmp_path_factory.mktemp("soak"))


def test_every_module_of_the_judge_is_in_the_copy_unchanged(tree: Path) -> None:
    modules = modules_in(tree)
    expected = {path.relative_to(ROOT) for folder in MUTATED for path in (ROOT / folder).rglob("*.py")}
    assert set(modules) == expected
    assert len(modules) > 40
    assert all((tree / module).read_bytes() == (ROOT / module).read_bytes() for module in modules)


def test_equal_sources_are_not_copied_again(tree: Path) -> None:
    marker = tree / "marker"
    marker.touch()
    assert copy_sources(tree.parent) == tree
    assert marker.exists()
    assert tree.name == sources_digest()


def test_a_mutant_left_by_an_interrupted_run_is_taken_back(tree: Path) -> None:
    module = modules_in(tree)[0]
    (tree / module).write_text("raise SystemExit\n")
    restore(tree)
    assert (tree / module).read_bytes() == (ROOT / module).read_bytes()


@pytest.mark.parametrize("room", [*MUTATED, "worker/judgement/traces"])
def test_a_mutant_meets_the_plain_tests_of_its_own_room_first_and_all_of_them(room: str) -> None:
    files = order_tests(f"{room}/anything.py")
    assert Path(files[0]).is_relative_to(Path("tests/unit") / Path(room).relative_to("worker"))
    assert files[-1].endswith("test_properties.py")
    expected = {
        path.relative_to(ROOT)
        for folder in ("tests/unit/judgement", "tests/unit/physics", "tests/published")
        for path in (ROOT / folder).rglob("test_*.py")
    }
    assert set(map(Path, files)) == expected
