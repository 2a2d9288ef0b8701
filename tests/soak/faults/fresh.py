"""What was recorded, judged from scratch in a database that has seen nothing of the run."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

import psycopg
from psycopg import sql
from pydantic import SecretStr
from sqlalchemy import Engine, text
from sqlmodel import select

from service.settings import WorkerSettings
from service.storage.jobs import claim_hints, make_due
from service.storage.migrations import migrate
from service.storage.session import make_engine, transaction
from service.storage.tables import Fibre, Route, StandingVerdict
from service.vocabulary.states import JobKind
from worker.demo.embedded.postgres import PostgresServer, create_database
from worker.jobs.runner import run_job
from worker.tasks import STEPS, make_context

# What parties said; all else follows from it. Parents before children.
_SAID = (
    "project",
    "project_head",
    "token",
    "token_project",
    "person",
    "criteria_version",
    "site",
    "route",
    "route_site",
    "design_revision",
    "design_reply",
    "record",
    "record_fibre",
    "record_end",
    "record_annulment",
    "evidence_file",
)
_WAITING = "project_id, route_id, number, evidence_version"


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Every fibre's document and every route's verdict."""

    fibres: dict[tuple[UUID, int], str | None]
    verdicts: dict[UUID, str]


def read_judged(engine: Engine) -> Judged:
    """Read what a database holds of it."""
    with transaction(engine) as session:
        return Judged(
            fibres={(one.route_id, one.number): one.content for one in session.exec(select(Fibre))},
            verdicts={one.route_id: one.digest for one in session.exec(select(StandingVerdict))},
        )


def judge_from_scratch(postgres: PostgresServer, settings: WorkerSettings, *, database: str, name: str) -> Judged:
    """Copy what was said into a new database and judge it there, in this process and nowhere else."""
    owner_url, application_url = create_database(postgres, name)
    migrate(owner_url, application_role=settings.application_role)
    _copy(postgres, database, name)
    context = make_context(settings.model_copy(update={"database_url": SecretStr(application_url)}))
    with transaction(context.engine) as session:
        for route in session.exec(select(Route)):
            make_due(session, JobKind.JUDGE, project_id=route.project_id, subject_id=route.id)
    for job_id, kind in _due(context.engine):
        run_job(context, STEPS[kind], job_id)
    judged = read_judged(context.engine)
    context.engine.dispose()
    return judged


def engine_of(settings: WorkerSettings) -> Engine:
    """Return a way into the run's own database."""
    return make_engine(settings.database_url.get_secret_value(), pool_size=2)


def _due(engine: Engine) -> Iterator[tuple[UUID, JobKind]]:
    while hints := _claim(engine):
        yield from hints


def _claim(engine: Engine) -> list[tuple[UUID, JobKind]]:
    with transaction(engine) as session:
        # Settling waits a moment after judging; here nothing is gained by it.
        session.execute(text("UPDATE job SET due_at = now() WHERE state = 'due'"))
        return list(claim_hints(session, again_after=timedelta(0)))


def _copy(postgres: PostgresServer, database: str, name: str) -> None:
    with postgres.connect(database=database) as source, postgres.connect(database=name) as target:
        for table in _SAID:
            _copy_table(source, target, sql.Identifier(table), sql.SQL("*"))
        waiting = sql.SQL(
            "INSERT INTO fibre (project_id, route_id, number, evidence_version, judged_version, is_urgent)"
        )
        target.execute(
            sql.SQL("CREATE TEMP TABLE waiting (project_id uuid, route_id uuid, number int, version bigint)")
        )
        _copy_table(source, target, sql.Identifier("fibre"), sql.SQL(_WAITING), into=sql.Identifier("waiting"))
        target.execute(waiting + sql.SQL(" SELECT project_id, route_id, number, version, 0, false FROM waiting"))


def _copy_table(
    source: "psycopg.Connection[tuple[object, ...]]",
    target: "psycopg.Connection[tuple[object, ...]]",
    table: sql.Identifier,
    columns: sql.SQL,
    *,
    into: sql.Identifier | None = None,
) -> None:
    out = sql.SQL("COPY (SELECT {} FROM {}) TO STDOUT").format(columns, table)
    back = sql.SQL("COPY {} FROM STDIN").format(into or table)
    with source.cursor().copy(out) as reading, target.cursor().copy(back) as writing:
        for block in reading:
            writing.write(block)
