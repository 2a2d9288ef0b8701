"""The migrations and the tables say the same, and the application's role may do no more than it must."""

import importlib
import json
from collections.abc import Iterator
from uuid import uuid4

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from psycopg import sql
from sqlalchemy import create_engine
from sqlalchemy.dialects import postgresql

from service.storage.migrations import migrate
from service.storage.tables import metadata
from tests.conftest import Servers
from worker.demo.embedded.postgres import create_database

ALL_TABLES = sorted(metadata.tables)
# The application's role may add to these and never change or remove a row.
APPEND_ONLY = (
    "project",
    "token_project",
    "person_side",
    "criteria_version",
    "site",
    "route_site",
    "section",
    "design_revision",
    "design_reply",
    "record",
    "record_fibre",
    "record_end",
    "record_annulment",
    "evidence_file",
    "submission_record",
    "package_file",
    "decision",
    "notice",
    "audit_entry",
)
CHANGING: tuple[str, ...] = importlib.import_module("service.storage.migrations.versions.0001_initial").CHANGING
# What the catalogue knows of a schema: kinds of relation, columns, constraints, indexes with their predicates.
CATALOGUE = {
    "relations": "SELECT relname, relkind FROM pg_class WHERE relnamespace = 'public'::regnamespace",
    "columns": """
        SELECT c.relname, a.attname, format_type(a.atttypid, a.atttypmod), a.attnotnull, a.attidentity, a.attgenerated,
               a.attcollation::regcollation::text, pg_get_expr(d.adbin, d.adrelid)
        FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
        LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND a.attnum > 0 AND NOT a.attisdropped""",
    "constraints": """
        SELECT c.relname, k.conname, k.contype, k.condeferrable, k.condeferred, pg_get_constraintdef(k.oid)
        FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid
        WHERE c.relnamespace = 'public'::regnamespace""",
    "indexes": "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "triggers": "SELECT tgrelid::regclass::text, tgname, tgtype FROM pg_trigger WHERE NOT tgisinternal",
}


@pytest.fixture(scope="module")
def application(servers: Servers, database_template: str) -> Iterator["psycopg.Connection[tuple[object, ...]]"]:
    _, url = create_database(servers.postgres, _name(), template=database_template)
    with psycopg.connect(url.replace("postgresql+psycopg", "postgresql"), autocommit=True) as connection:
        yield connection


def test_migrating_from_nothing_gives_the_schema_that_the_tables_describe(servers: Servers) -> None:
    migrated, _ = create_database(servers.postgres, _name())
    migrate(migrated, application_role="acceptance_app")
    created, _ = create_database(servers.postgres, _name())
    engine = create_engine(created)
    metadata.create_all(engine)
    engine.dispose()
    for of, statement in CATALOGUE.items():
        assert _rows(servers, migrated, statement) == _rows(servers, created, statement), of
    assert len(_rows(servers, migrated, CATALOGUE["indexes"])) > len(ALL_TABLES)


def test_a_new_migration_would_have_nothing_to_do(servers: Servers) -> None:
    owner_url, _ = create_database(servers.postgres, _name())
    migrate(owner_url, application_role="acceptance_app")
    engine = create_engine(owner_url)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        assert compare_metadata(context, metadata) == []
    engine.dispose()


def test_migrating_again_changes_nothing(servers: Servers) -> None:
    owner_url, _ = create_database(servers.postgres, _name())
    migrate(owner_url, application_role="acceptance_app")
    before = _rows(servers, owner_url, CATALOGUE["columns"])
    migrate(owner_url, application_role="acceptance_app")
    assert _rows(servers, owner_url, CATALOGUE["columns"]) == before


def test_every_table_is_either_append_only_or_changing() -> None:
    assert sorted([*APPEND_ONLY, *CHANGING]) == ALL_TABLES


@pytest.mark.parametrize("table", [*APPEND_ONLY, "alembic_version"])
def test_the_application_can_not_change_what_is_append_only(
    application: "psycopg.Connection[tuple[object, ...]]", table: str
) -> None:
    column = "version_num" if table == "alembic_version" else next(iter(metadata.tables[table].columns)).name
    name, field = sql.Identifier(table), sql.Identifier(column)
    _is_refused(application, sql.SQL("UPDATE {} SET {} = {}").format(name, field, field))
    _is_refused(application, sql.SQL("DELETE FROM {}").format(name))
    _is_refused(application, sql.SQL("TRUNCATE {} CASCADE").format(name))


@pytest.mark.parametrize("table", CHANGING)
def test_the_application_removes_no_rows_but_a_person(
    application: "psycopg.Connection[tuple[object, ...]]", table: str
) -> None:
    delete = sql.SQL("DELETE FROM {}").format(sql.Identifier(table))
    if table == "person":
        application.execute(delete)
    else:
        _is_refused(application, delete)
    _is_refused(application, sql.SQL("TRUNCATE {} CASCADE").format(sql.Identifier(table)))


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE extra (id int)",
        "CREATE SCHEMA extra",
        "DROP TABLE notice",
        "ALTER TABLE audit_entry DISABLE TRIGGER ALL",
        "ALTER TABLE record ADD COLUMN extra int",
        "CREATE INDEX ON record (kind)",
        "SET ROLE acceptance_owner",
        "SET session_replication_role = replica",
        "INSERT INTO alembic_version VALUES ('x')",
    ],
)
def test_the_application_can_not_touch_the_schema(
    application: "psycopg.Connection[tuple[object, ...]]", statement: str
) -> None:
    _is_refused(application, statement)


def _is_refused(connection: "psycopg.Connection[tuple[object, ...]]", statement: sql.Composed | str) -> None:
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(statement.encode() if isinstance(statement, str) else statement)


def _rows(servers: Servers, url: str, statement: str) -> list[str]:
    database = url.split("@/")[1].split("?", maxsplit=1)[0]
    with servers.postgres.connect(database=database) as connection:
        rows = connection.execute(statement.encode()).fetchall()
    return sorted(str(row) for row in rows if "alembic_version" not in str(row))


def _name() -> str:
    return f"schema_{uuid4().hex[:12]}"


def test_a_fibres_document_is_packed_once_and_read_as_it_was(
    application: "psycopg.Connection[tuple[object, ...]]",
) -> None:
    # PostgreSQL would pack it again, in vain: the kind of storage says that it does not ("e": outside, as it is).
    storage = "SELECT attstorage FROM pg_attribute WHERE attrelid = 'fibre'::regclass AND attname = 'content'"
    assert application.execute(storage).fetchall() == [("e",)]
    column, dialect = metadata.tables["fibre"].c.content.type, postgresql.dialect()  # type: ignore[no-untyped-call]
    pack, unpack = column.bind_processor(dialect), column.result_processor(dialect, None)
    assert pack is not None
    assert unpack is not None
    text = json.dumps({"site": "Straße", "findings": [{"value": "0.0500"}] * 1000}, ensure_ascii=False)
    packed = pack(text)
    assert len(packed) < len(text) / 100
    assert unpack(packed) == text
