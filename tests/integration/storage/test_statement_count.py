"""How often a job asks the database: each statement is a way there and back while a crew waits for the work list."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import Engine, event

from service.vocabulary.states import JobKind
from tests.factories import make_splice
from tests.world import World
from worker.jobs.runner import run_job
from worker.relay import Relay
from worker.tasks import STEPS

FROM_HINT_TO_WRITTEN = 8


@pytest.fixture
def relay_and_hints(world: World) -> tuple[Relay, list[tuple[JobKind, UUID]]]:
    """Lend a relay on the worker's engine, with what it hints at; design and criteria are known to the process."""
    hints: list[tuple[JobKind, UUID]] = []
    world.post_records([make_splice()])
    world.drain()
    return Relay(world.engine, lambda kind, id_: hints.append((kind, id_)), hint_again_s=60), hints


def test_one_splice_is_judged_and_settled_with_few_statements(
    world: World, relay_and_hints: tuple[Relay, list[tuple[JobKind, UUID]]]
) -> None:
    relay, hints = relay_and_hints
    world.post_records([make_splice(id=str(uuid4()), fibres=[2], estimate_db=0.9)])
    for kind in (JobKind.JUDGE, JobKind.SETTLE):
        with statements(world.engine) as said:
            relay.sweep()
            hinted, job_id = hints.pop()
            run_job(world.context, STEPS[hinted], job_id)
        assert hinted is kind
        assert 4 < len(said) <= FROM_HINT_TO_WRITTEN, said
    assert "re_splice" in {item["act"] for item in world.worklist()}


def test_who_works_tries_no_connection_before_using_it(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    pinged: list[object] = []

    def ping(connection: object) -> bool:
        pinged.append(connection)
        return True

    monkeypatch.setattr(world.engine.dialect, "do_ping", ping)
    world.post_records([make_splice()])
    world.drain()
    assert pinged == []


@contextmanager
def statements(engine: Engine) -> Iterator[list[str]]:
    """Give every statement that goes to the database through an engine."""
    said: list[str] = []

    def hear(_c: Any, _u: Any, statement: str, *_: Any) -> None:
        said.append(statement)

    event.listen(engine, "before_cursor_execute", hear)
    try:
        yield said
    finally:
        event.remove(engine, "before_cursor_execute", hear)
