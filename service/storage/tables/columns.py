"""Column forms that the tables share."""

from typing import Any

from sqlalchemy import BigInteger, DateTime, ForeignKeyConstraint, MetaData, Text, text
from sqlalchemy.dialects.postgresql import JSONB
from sqlmodel import Field, SQLModel

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)
SQLModel.metadata = metadata


def instant(*, nullable: bool = False) -> Any:
    """Return a column of instants with their zone."""
    return Field(sa_type=DateTime(timezone=True), nullable=nullable)


def long_text(*, nullable: bool = False) -> Any:
    """Return a column of text of any length."""
    return Field(sa_type=Text, nullable=nullable)


def big_count(*, default: int = 0) -> Any:
    """Return a column of a count that may outgrow 32 bits."""
    return Field(default=default, sa_type=BigInteger, nullable=False)


def engine_version() -> Any:
    """Return a column of the engine that judged; 0 where an older program wrote the row, which did not say."""
    return Field(default=0, nullable=False, sa_column_kwargs={"server_default": text("0")})


def json_value(*, nullable: bool = False) -> Any:
    """Return a column of JSON that nothing hashes."""
    return Field(default=None, sa_type=JSONB(none_as_null=True), nullable=nullable)


def of_route() -> ForeignKeyConstraint:
    """Return the reference of a row to its route."""
    return ForeignKeyConstraint(["project_id", "route_id"], ["route.project_id", "route.id"])
