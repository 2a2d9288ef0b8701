"""Column forms that the tables share."""

from enum import StrEnum
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, DateTime, ForeignKeyConstraint, MetaData, String, Text, text
from sqlalchemy import TypeDecorator as ColumnType
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


class _Word(ColumnType[StrEnum]):
    """A word of a closed list, kept as its text."""

    impl = String
    cache_ok = True

    def __init__(self, words: type[StrEnum]) -> None:
        super().__init__()
        self.words = words

    def process_bind_param(self, value: str | None, dialect: object) -> str | None:
        """Give the word's text."""
        return None if value is None else self.words(value).value

    def process_result_value(self, value: str | None, dialect: object) -> StrEnum | None:
        """Give the word of a text."""
        return None if value is None else self.words(value)


def word(words: type[StrEnum], *, nullable: bool = False) -> Any:
    """Return a column of one word of a closed list."""
    return Field(sa_type=_Word(words), nullable=nullable, **({"default": None} if nullable else {}))  # type: ignore[call-overload]


def one_of(table: str, column: str, words: type[StrEnum]) -> CheckConstraint:
    """Return the rule that a table's column holds words of a closed list only."""
    texts = ", ".join(f"'{one.value}'" for one in words)
    return CheckConstraint(f"{column} IN ({texts})", name=f"ck_{table}_{column}")


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


def of_submission() -> ForeignKeyConstraint:
    """Return the reference of a row to its submission."""
    return ForeignKeyConstraint(["project_id", "submission_id"], ["submission.project_id", "submission.id"])
