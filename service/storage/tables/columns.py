"""What the tables share: their names, the forms of their columns, references and partial indexes."""

import re
from enum import StrEnum
from typing import Any

import zstandard
from sqlalchemy import (
    BigInteger,
    DateTime,
    Dialect,
    Enum,
    ForeignKeyConstraint,
    Index,
    LargeBinary,
    MetaData,
    Text,
    TypeDecorator,
    text,
)
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import declared_attr
from sqlmodel import Field, SQLModel

# The quickest: what a fibre's document is written with takes a tenth of what PostgreSQL's own packing of it took.
_PACKING_LEVEL = 1

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)
SQLModel.metadata = metadata


class Row(SQLModel):
    """A row of the table that has its class's name, written with underscores; `| None` lets a column be empty."""

    @declared_attr.directive
    def __tablename__(cls) -> str:  # noqa: N805
        """Return the table's name."""
        return re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__).lower()


def instant() -> Any:
    """Return a column of instants with their zone."""
    return Field(sa_type=DateTime(timezone=True))


def long_text() -> Any:
    """Return a column of text of any length."""
    return Field(sa_type=Text)


class _PackedText(TypeDecorator[str]):
    """Text that is packed before it travels, for what is long, much alike, and asked for whole."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> bytes | None:
        """Pack."""
        return None if value is None else zstandard.compress(value.encode(), _PACKING_LEVEL)

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> str | None:
        """Unpack."""
        return None if value is None else zstandard.decompress(value).decode()


def packed_text() -> Any:
    """Return a column of long text that no statement looks into; PostgreSQL is told not to pack it again."""
    return Field(sa_type=_PackedText)


def word(words: type[StrEnum], *, check: str | None = None) -> Any:
    """Return a column of one word of a closed list, kept as its text; a `check` by this name holds it to the list."""
    return Field(
        sa_type=Enum(
            words,
            values_callable=lambda listed: [one.value for one in listed],
            native_enum=False,
            length=None,
            name=check,
            create_constraint=check is not None,
        )
    )


def big_count(*, default: int = 0) -> Any:
    """Return a column of a count that may outgrow 32 bits."""
    return Field(default=default, sa_type=BigInteger)


def engine_version() -> Any:
    """Return a column of the engine that judged; 0 where an older program wrote the row, which did not say."""
    return Field(default=0, sa_column_kwargs={"server_default": text("0")})


def json_value() -> Any:
    """Return a column of JSON that nothing hashes."""
    return Field(sa_type=JSONB(none_as_null=True))


def reference(table: str) -> ForeignKeyConstraint:
    """Return the reference of a row to another of its project, by the column that is named after that one's table."""
    return ForeignKeyConstraint(["project_id", f"{table}_id"], [f"{table}.project_id", f"{table}.id"])


def index_where(name: str, condition: str, *columns: str, unique: bool = False) -> Index:
    """Return an index of those rows that meet a condition."""
    return Index(name, *columns, unique=unique, postgresql_where=text(condition))
