"""The schema's history, and how to bring a database to its end."""

from collections.abc import Sequence
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine, text

_HERE = Path(__file__).parent


def migrate(url: str, *, application_role: str, revision: str = "head") -> None:
    """Bring the database to a revision, as the owner's role, with what the application's role may do there."""
    engine = create_engine(url, connect_args={"options": "-c lock_timeout=10s"})
    try:
        with engine.begin() as connection:
            config = Config()
            config.set_main_option("script_location", str(_HERE).replace("%", "%%"))
            config.attributes.update(connection=connection, application_role=application_role)
            command.upgrade(config, revision)
    finally:
        engine.dispose()


def missing_revisions(connection: Connection) -> Sequence[str]:
    """Return the revisions that a database has yet to be brought to, oldest first.

    Of one that we do not know nothing is missing: a newer program has been there, and left what older ones read.
    """
    script = ScriptDirectory(str(_HERE))
    known = {one.revision for one in script.walk_revisions()}
    held = _held_revisions(connection)
    if held - known:
        return ()
    reached = {one.revision for one in script.iterate_revisions(tuple(held), "base")} if held else set()
    return sorted(known - reached)


def _held_revisions(connection: Connection) -> set[str]:
    if connection.scalar(text("SELECT to_regclass('alembic_version')")) is None:
        return set()
    return set(connection.scalars(text("SELECT version_num FROM alembic_version")))
