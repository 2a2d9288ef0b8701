"""A trial run by run: each fits a lease, a lost one writes nothing, none judges in a transaction, a fault parks it."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Never

import pytest
from sqlalchemy import text
from sqlmodel import select

from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobKind
from tests.factories import finished_fibre, make_criteria, make_design, make_otdr, make_splice
from tests.integration.trial_acts import ask, judge_two_fibres, read, tried, wider
from tests.world import World, describe_route, open_project, read_demo
from worker.jobs.judging import judge_fibres
from worker.jobs.runner import run_job
from worker.steps import trial

_OPEN_TRANSACTIONS = text(
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND state = 'idle in transaction'"
)


@pytest.fixture
def judged(world: World) -> World:
    """Serve the factories' route with a fibre that conforms and one that does not."""
    return judge_two_fibres(world)


def test_a_large_route_is_tried_in_runs_that_each_fit_a_lease(bare_world: World) -> None:
    fibres = 130
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    describe_route(bare_world, design=make_design(fibre_count=fibres), criteria=make_criteria())
    bare_world.drain()
    answer = ask(bare_world, wider())
    states = []
    for state in runs(bare_world):
        states.append((state, read(bare_world, answer)["state"], read(bare_world, answer)["result"] is not None))
    # Three runs look where joints lie, three judge by that.
    assert states == [("due", "due", False)] * 5 + [("done", "done", True)]
    result = read(bare_world, answer)["result"]
    assert result["fibres_compared"] == fibres
    assert result["criteria"][0]["counts"]["undetermined"] == 4 * fibres


def runs(world: World) -> Iterator[str]:
    """Do the one trial's job run by run and give its state after each."""
    while True:
        with transaction(world.engine) as session:
            job = session.exec(select(Job).where(Job.kind == JobKind.TRIAL.value)).one()
        if job.state != "due":
            return
        run_job(world.context, trial.STEP, job.id)
        with transaction(world.engine) as session:
            yield session.exec(select(Job.state).where(Job.id == job.id)).one()


def test_records_that_come_in_between_two_runs_are_told(bare_world: World) -> None:
    fibres = 70
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    describe_route(bare_world, design=make_design(fibre_count=fibres), criteria=make_criteria())
    bare_world.drain()
    answer = ask(bare_world, wider())
    steps = runs(bare_world)
    assert next(steps) == "due"
    bare_world.post_records([make_splice()])
    assert list(steps) == ["due", "due", "done"]
    result = read(bare_world, answer)["result"]
    assert result["first_route_version"] < result["last_route_version"]


def test_a_mean_over_the_route_is_tried_with_the_fibres_of_every_run_together(bare_world: World) -> None:
    mean = {
        "code": "MEAN",
        "quantity": "joint_statistic",
        "wavelength_nm": 1550,
        "joint": "splice",
        "statistic": "mean",
        "over": "route",
        "limit_db": 0.07,
    }
    last = 65
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    design = make_design(fibre_count=last, termination="factory_cord")
    design["segments"][0]["fibres"] = [{"first": 1, "last": 1}, {"first": last, "last": last}]
    describe_route(bare_world, design=design, criteria=make_criteria())
    worse = {"C1": 0.14, "C2": 0.06}
    records = finished_fibre(fibre=1, design=design)
    records += [make_otdr(fibre=last, design=design, losses_db=worse)]
    records += [make_otdr(fibre=last, from_site="B", to_site="A", design=design, losses_db=worse)]
    bare_world.post_records(records)
    bare_world.drain()
    # Splices of 0.04, 0.04, 0.14 and 0.06 dB: 0.07 dB in the mean.
    [counted] = tried(bare_world, make_criteria(criteria=[mean]))["criteria"]
    assert counted["counts"] == {"conforming": 1, "nonconforming": 0, "undetermined": 0}
    [counted] = tried(bare_world, make_criteria(criteria=[{**mean, "limit_db": 0.069}]))["criteria"]
    assert counted["counts"] == {"conforming": 0, "nonconforming": 1, "undetermined": 0}


def test_a_run_whose_lease_was_lost_writes_nothing(judged: World) -> None:
    answer = ask(judged, wider())
    with transaction(judged.engine) as session:
        job_id = session.exec(select(Job.id).where(Job.kind == JobKind.TRIAL.value)).one()

    def lose_lease(context: Any, lease: Any) -> None:
        with transaction(judged.engine) as session:
            session.connection().execute(text("UPDATE job SET fence = fence + 1 WHERE id = :id"), {"id": job_id})
        trial.run(context, lease)

    run_job(judged.context, replace(trial.STEP, run=lose_lease), job_id)
    found = read(judged, answer)
    assert (found["state"], found["result"]) == ("due", None)


def test_a_trial_that_fails_again_and_again_is_parked_with_its_reason(judged: World) -> None:
    answer = ask(judged, wider())
    with transaction(judged.engine) as session:
        job_id = session.exec(select(Job.id).where(Job.kind == JobKind.TRIAL.value)).one()

    def fail(_: Any, __: Any) -> Never:
        raise ZeroDivisionError("a fault of ours")

    broken = replace(trial.STEP, run=fail)
    for _ in range(judged.settings.max_attempts):
        run_job(judged.context, broken, job_id)
        with transaction(judged.engine) as session:
            session.connection().execute(text("UPDATE job SET due_at = now() WHERE state = 'due'"))
    found = read(judged, answer)
    assert (found["state"], found["problem"], found["result"]) == ("parked", "ZeroDivisionError: a fault of ours", None)
    assert found["finished_at"] is not None
    # The route is free for the next one.
    assert tried(judged, wider())["fibres_changed"] == 1


def test_no_transaction_is_open_while_a_trial_judges(judged: World, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []

    def look(waiting: Any, **how: Any) -> Any:
        with judged.engine.connect() as connection:
            seen.append(connection.execute(_OPEN_TRANSACTIONS).scalar_one())
        return judge_fibres(waiting, **how)

    monkeypatch.setattr("worker.steps.trial.judge_fibres", look)
    tried(judged, wider())
    # Once to look where joints lie, once to judge.
    assert seen == [0, 0]
