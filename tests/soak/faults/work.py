"""What happens at once: crews post, offices have segments accepted, one thing after the other is killed."""

import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, TypeVar
from uuid import UUID

import structlog
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import col, select

from service.settings import WorkerSettings
from service.storage.session import transaction
from service.storage.tables import Submission
from service.vocabulary.words import TokenKind
from tests.soak.faults.client import PATIENCE_S, Patient, Progress
from tests.soak.faults.crews import Crew
from tests.soak.faults.fresh import engine_of
from tests.soak.faults.killer import Killer
from tests.soak.faults.office import Office
from tests.soak.faults.outcome import Outcome
from tests.soak.faults.plan import Plan
from tests.soak.faults.site import Site, SoakRoute
from worker.demo.embedded.postgres import PostgresServer
from worker.demo.embedded.redis import RedisServer
from worker.demo.supervisor import Supervisor

_LOOK_EVERY_S = 0.1
# Long enough to see by how much it was missed.
_JUDGED_PATIENCE_S = 90.0
_WAITING = text(
    "SELECT (SELECT count(*) FROM fibre WHERE judged_version < evidence_version)"
    " + (SELECT count(*) FROM job WHERE kind IN ('judge', 'settle') AND state IN ('due', 'leased'))"
)
_OPEN = text("SELECT count(*) FROM job WHERE state IN ('due', 'leased')")
_NOTICES_A_PAGE = 100
log = structlog.get_logger()
Answer = TypeVar("Answer")


@dataclass(kw_only=True)
class Stage:
    """A stack with a project, ready to be posted to and killed."""

    plan: Plan
    base_url: str
    site: Site
    supervisor: Supervisor
    postgres: PostgresServer
    redis: RedisServer
    settings: WorkerSettings
    patients: list[Patient] = field(default_factory=list)
    given_up: threading.Event = field(default_factory=threading.Event)

    def connect(self) -> Patient:
        """Return a party's way to the service."""
        patient = Patient(self.base_url, self.site.tokens, given_up=self.given_up)
        self.patients.append(patient)
        return patient


def do_the_work(stage: Stage, outcome: Outcome) -> list[Any]:
    """Do it all, wait until nothing is left to do, and return what billing is told."""
    engine, progress = engine_of(stage.settings), Progress(crews=len(stage.site.crews))
    killer = _killer(stage, progress)
    with ThreadPoolExecutor(2 * len(stage.site.crews) + 1) as threads:
        crews, offices = _begin(stage, threads, engine, progress)
        for name, future in ({"killer": threads.submit(killer.work)} | crews).items():
            _await(name, future, outcome)
        ended_at = max(killer.ended_at, progress.last_answer_at)
        if not _await_none(engine, _WAITING, within_s=_JUDGED_PATIENCE_S):
            outcome.problems.append(f"not all is judged after {_JUDGED_PATIENCE_S:g} s")
            stage.given_up.set()
        outcome.judged_after_s = time.monotonic() - ended_at
        for office, future in offices:
            _await("office", future, outcome)
            outcome.problems += office.problems
    if not _await_none(engine, _OPEN, within_s=_JUDGED_PATIENCE_S):
        outcome.problems.append("jobs are left open")
    outcome.killed = dict(killer.done)
    stage.given_up.clear()
    told = _read_notices(stage)
    outcome.asked_again = sum(patient.tries_again for patient in stage.patients)
    engine.dispose()
    return told


def _killer(stage: Stage, progress: Progress) -> Killer:
    return Killer(
        plan=stage.plan,
        progress=progress,
        supervisor=stage.supervisor,
        postgres=stage.postgres,
        redis=stage.redis,
        bursts=stage.site.bursts,
        connect=stage.connect,
    )


def _begin(
    stage: Stage, threads: ThreadPoolExecutor, engine: Engine, progress: Progress
) -> "tuple[dict[str, Future[None]], list[tuple[Office, Future[None]]]]":
    crews: dict[str, Future[None]] = {}
    offices: list[tuple[Office, Future[None]]] = []
    for number, routes in enumerate(stage.site.crews):
        finished: queue.SimpleQueue[SoakRoute | None] = queue.SimpleQueue()
        crew = Crew(
            routes,
            connect=stage.connect,
            progress=progress,
            finished=finished,
            draw=stage.plan.draw(f"crew {number}"),
        )
        office = Office(
            connect=stage.connect,
            finished=finished,
            find_submission=lambda route_id: _find_submission(engine, UUID(route_id)),
        )
        crews[f"crew {number}"] = threads.submit(crew.work)
        offices.append((office, threads.submit(office.work)))
    return crews, offices


def _await(name: str, future: "Future[None]", outcome: Outcome) -> None:
    """Wait for somebody's end, and remember if it was not a good one."""
    error = future.exception(timeout=PATIENCE_S + 60 * outcome.plan.kills)
    if error is not None:
        log.error("soak.failed", who=name, exc_info=error)
        outcome.problems.append(f"{name}: {type(error).__name__}: {error}")


def _await_none(engine: Engine, count: Any, *, within_s: float) -> bool:
    """Wait until a count is zero; a database that was killed just now is asked again."""
    give_up_at = time.monotonic() + within_s

    def ask() -> int:
        with transaction(engine) as session:
            return int(session.execute(count).scalar_one())

    while _asked(ask):
        if time.monotonic() > give_up_at:
            return False
        time.sleep(_LOOK_EVERY_S)
    return True


def _find_submission(engine: Engine, route_id: UUID) -> str | None:
    """Return the submission of a route whose answer was lost."""

    def ask() -> UUID | None:
        with transaction(engine) as session:
            return session.exec(select(Submission.id).where(col(Submission.route_id) == route_id)).first()

    found = _asked(ask)
    return None if found is None else str(found)


def _asked(ask: Callable[[], Answer]) -> Answer:
    give_up_at = time.monotonic() + PATIENCE_S
    while True:
        try:
            return ask()
        except DBAPIError:
            if time.monotonic() > give_up_at:
                raise
            time.sleep(_LOOK_EVERY_S)


def _read_notices(stage: Stage) -> list[Any]:
    """Read all notices as billing does, page by page."""
    client, told, after = stage.connect(), list[Any](), 0
    path = f"/v1/projects/{stage.site.project_id}/notices"
    while True:
        page = client.ask(TokenKind.BILLING, "GET", path, params={"after": after, "limit": _NOTICES_A_PAGE})
        if not page["notices"]:
            client.close()
            return told
        told += page["notices"]
        after = page["last"]
