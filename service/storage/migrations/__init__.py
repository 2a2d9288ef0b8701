"""The schema's history, and how to bring a database to its end."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine

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
