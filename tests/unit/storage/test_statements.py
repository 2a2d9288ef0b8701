"""Statements stand in the module of what they are about, and nowhere else: a session is only passed on."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
# Besides storage itself: the sessions of signing are a security module's.
STORAGE, SIGNING = ROOT / "service" / "storage", ROOT / "worker" / "signing"
OUTSIDE = sorted(
    path.relative_to(ROOT)
    for root in ("service", "worker")
    for path in (ROOT / root).rglob("*.py")
    if not path.is_relative_to(STORAGE) and not path.is_relative_to(SIGNING)
)
# What says where the database is, passes a session on, or tells that the database is away.
ALLOWED = {"sqlalchemy": {"Engine", "make_url"}, "sqlmodel": {"Session"}}


@pytest.mark.parametrize("module", OUTSIDE, ids=str)
def test_outside_storage_nobody_asks_the_database(module: Path) -> None:
    assert list(asking((ROOT / module).read_text())) == []


@pytest.mark.parametrize(
    "line",
    [
        "import sqlalchemy",
        "from sqlalchemy import select",
        "from sqlalchemy.dialects.postgresql import insert",
        "from sqlmodel import Session, select",
        "session.get(Route, 1)",
        "with transaction(engine) as session: session.add(row)",
    ],
)
def test_what_asks_the_database_is_found(line: str) -> None:
    assert list(asking(line))


def test_passing_a_session_on_is_not_asking() -> None:
    assert list(asking("from sqlmodel import Session\nfrom sqlalchemy.exc import DBAPIError\nfind(session, 1)")) == []


def asking(source: str) -> Iterator[str]:
    """Give the lines of a module that state or run a statement."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Import(names=names) if any(name.name.split(".")[0] in ALLOWED for name in names):
                yield ast.unparse(node)
            case ast.ImportFrom(module=str(name), names=names) if name.split(".")[0] in ALLOWED:
                if name != "sqlalchemy.exc" and not {one.name for one in names} <= ALLOWED.get(name, set()):
                    yield ast.unparse(node)
            case ast.Call(func=ast.Attribute(value=ast.Name(id="session"))):
                yield ast.unparse(node)
