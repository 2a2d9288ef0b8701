"""The relay hints at what is due, soon and again, and never stands in anybody's way."""

import threading
import time
from collections.abc import Callable
from uuid import UUID, uuid4

import pytest
from sqlalchemy import Engine

from service.vocabulary.states import JobKind
from tests.integration.storage.job_acts import NEVER_AGAIN, claim, make_due
from worker.relay import HintNotTakenError, Relay


def test_the_relay_is_woken_at_commit_and_sleeps_otherwise(engine: Engine, project_id: UUID) -> None:
    hinted: list[tuple[float, UUID]] = []
    waits_s: list[float] = []
    stop = threading.Event()
    relay = Relay(engine, lambda _, job_id: hinted.append((time.monotonic(), job_id)), hint_again_s=3600)
    thread = threading.Thread(target=relay.run, args=(stop,))
    thread.start()
    try:
        time.sleep(0.5)
        for number in range(1, 6):
            make_due(engine, project_id, uuid4())
            committed_at = time.monotonic()
            _wait_for(hinted, number)
            waits_s.append(hinted[-1][0] - committed_at)
    finally:
        stop.set()
        thread.join(10)
    assert len({job_id for _, job_id in hinted}) == len(hinted)
    # Far below the second after which it sweeps without any word.
    assert sorted(waits_s)[len(waits_s) // 2] < 0.2


def test_the_relay_hints_at_what_becomes_due_by_time(engine: Engine, project_id: UUID) -> None:
    hinted: list[UUID] = []
    stop = threading.Event()
    relay = Relay(engine, lambda _, job_id: hinted.append(job_id), hint_again_s=3600)
    make_due(engine, project_id, uuid4(), delay_s=0.7)
    thread = threading.Thread(target=relay.run, args=(stop,))
    thread.start()
    try:
        time.sleep(0.3)
        assert hinted == []
        _wait_until(lambda: len(hinted) == 1, within_s=2)
    finally:
        stop.set()
        thread.join(10)


def test_a_hint_that_the_queue_did_not_take_is_given_again_at_once(engine: Engine, project_id: UUID) -> None:
    for _ in range(3):
        make_due(engine, project_id, uuid4())
    taken: list[UUID] = []

    def take_one(_: JobKind, job_id: UUID) -> None:
        if taken:
            raise HintNotTakenError("away")
        taken.append(job_id)

    with pytest.raises(HintNotTakenError):
        Relay(engine, take_one, hint_again_s=3600).sweep()
    again = [job_id for job_id, _ in claim(engine, again_after=NEVER_AGAIN)]
    assert len(again) == 2
    assert taken[0] not in again


def test_a_queue_that_hangs_keeps_no_lock_on_a_job(engine: Engine, project_id: UUID) -> None:
    subject, reached, let_go = uuid4(), threading.Event(), threading.Event()

    def hang(*_: object) -> None:
        reached.set()
        let_go.wait(20)

    make_due(engine, project_id, subject)
    sweep = threading.Thread(target=Relay(engine, hang, hint_again_s=3600).sweep)
    sweep.start()
    try:
        assert reached.wait(5)
        started_at = time.monotonic()
        make_due(engine, project_id, subject)
        assert time.monotonic() - started_at < 1
    finally:
        let_go.set()
        sweep.join(30)


def _wait_for(hinted: list[tuple[float, UUID]], count: int) -> None:
    _wait_until(lambda: len(hinted) == count)


def _wait_until(is_so: Callable[[], bool], *, within_s: float = 5) -> None:
    give_up_at = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < give_up_at
        time.sleep(0.005)
