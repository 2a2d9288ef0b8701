"""A raised engine: what an older one judged is judged anew by itself, one route at a time, and nobody signs on it."""

from pathlib import Path
from uuid import UUID, uuid4

import pytest
from sqlmodel import col, select, update

from service.storage.jobs import claim_hints
from service.storage.renewal import start_next
from service.storage.session import transaction
from service.storage.tables import Fibre, Job, StandingVerdict, Submission
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.factories import make_splice
from tests.integration.api.acts import decide
from tests.integration.api.design_acts import describe_unagreed
from tests.integration.faults.acts import finished_route, submission, submit
from tests.integration.faults.processes import Part, wait_until
from tests.world import World
from worker.jobs.runner import run_job
from worker.judgement.judge import ENGINE
from worker.steps import judge, settle
from worker.tasks import STEPS

OLDER = ENGINE - 1
FIBRES = 12
OLD_DIGEST = "0" * 64


def age(world: World) -> None:
    """Make everything that is judged an older engine's, which found nothing at all."""
    values = {"engine_version": OLDER, "digest": OLD_DIGEST}
    with transaction(world.engine) as session:
        session.execute(update(Fibre).values(content='{"findings":[]}', **values))
        session.execute(update(StandingVerdict).values(**values))


def start(world: World) -> UUID | None:
    """Look, as each worker does now and then, what an older engine judged."""
    with transaction(world.engine) as session:
        return start_next(session, engine=ENGINE)


def add_routes(world: World, number: int) -> list[str]:
    """Describe more routes of the same design, and let them be judged; the last is the world's."""
    routes = []
    for one in range(number):
        describe_unagreed(world, code=f"R{one + 2}")
        routes.append(world.route_id)
    return routes


def engines(world: World) -> set[int]:
    with transaction(world.engine) as session:
        return {*session.exec(select(Fibre.engine_version)), *session.exec(select(StandingVerdict.engine_version))}


def routes_waiting(world: World) -> set[UUID]:
    with transaction(world.engine) as session:
        waits = col(Fibre.judged_version) < col(Fibre.evidence_version)
        return set(session.exec(select(Fibre.route_id).where(waits).distinct()))


def do_one(world: World) -> JobKind | None:
    """Do the job that is due first, and tell of what kind it was."""
    with transaction(world.engine) as session:
        hints = claim_hints(session, again_after=world.again_after, limit=1)
    for job_id, kind in hints:
        run_job(world.context, STEPS[kind], job_id)
        return kind
    return None


def test_what_an_older_engine_judged_is_judged_anew_though_nobody_posts_anything(world: World) -> None:
    world.record(finished_route())
    before = world.status()["verdict_digest"], documents(world)
    age(world)
    assert documents(world) != before[1]
    start(world)
    world.drain()
    assert (world.status()["verdict_digest"], documents(world)) == before
    assert engines(world) == {ENGINE}
    assert (start(world), world.drain()) == (None, 0)


def documents(world: World) -> list[str | None]:
    with transaction(world.engine) as session:
        return list(session.exec(select(Fibre.content).order_by(col(Fibre.route_id), col(Fibre.number))))


def test_routes_are_judged_anew_one_after_the_other(world: World) -> None:
    add_routes(world, 3)
    age(world)
    assert start(world) is not None
    # Whoever else looks meanwhile begins no other.
    assert start(world) is None
    most = 0
    while do_one(world) is not None:
        waiting = routes_waiting(world)
        most = max(most, len(waiting))
        assert start(world) is None
    assert (most, engines(world)) == (1, {ENGINE})


def test_a_new_splice_waits_for_one_run_and_not_for_the_fleet(world: World) -> None:
    routes = add_routes(world, 4)
    age(world)
    renewed = start(world)
    assert do_one(world) is JobKind.SETTLE
    # Which route comes first follows from their ids, and these from chance.
    world.route_id = next(one for one in routes if one != str(renewed))
    world.post_records([make_splice(id=str(uuid4()), estimate_db=0.9)])
    done = [do_one(world), do_one(world)]
    assert done == [JobKind.JUDGE, JobKind.JUDGE]
    assert [item["act"] for item in world.worklist()].count("re_splice") == 1


def test_a_route_at_work_has_no_verdict_of_two_engines(world: World) -> None:
    mine, other = world.route_id, add_routes(world, 1)[0]
    age(world)
    # The other's turn has come, and it takes its time.
    others = update(Fibre).where(col(Fibre.route_id) == other)
    with transaction(world.engine) as session:
        session.execute(others.values(engine_version=ENGINE, evidence_version=99))
    world.route_id = mine
    world.post_records([make_splice(id=str(uuid4()), estimate_db=0.9)])
    assert [do_one(world), do_one(world)] == [JobKind.JUDGE, JobKind.SETTLE]
    assert [item["act"] for item in world.worklist()].count("re_splice") == 1
    status = world.status()
    assert (status["is_judged"], status["fibres_waiting"]) == (False, 0)
    assert status["verdict_digest"] == OLD_DIGEST
    assert submit(world).status_code == 409
    with transaction(world.engine) as session:
        session.execute(others.values(judged_version=99))
    hurry_all(world)
    world.drain()
    assert world.status()["is_judged"]


def hurry_all(world: World) -> None:
    with transaction(world.engine) as session:
        for job in session.exec(select(Job).where(Job.state == "due")):
            job.due_at = job.due_at.replace(year=2000)


def test_an_older_program_leaves_alone_what_waits_for_the_newer(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    age(world)
    start(world)
    assert do_one(world) is JobKind.SETTLE
    with monkeypatch.context() as patched:
        for step in (judge, settle):
            patched.setattr(step, "ENGINE", OLDER)
        assert do_one(world) is JobKind.JUDGE
        assert world.status()["fibres_waiting"] == FIBRES
    hurry_all(world)
    world.drain()
    assert engines(world) == {ENGINE}


def test_a_route_that_was_given_up_keeps_no_other_from_its_turn(world: World) -> None:
    add_routes(world, 2)
    age(world)
    route_id = start(world)
    assert do_one(world) is JobKind.SETTLE
    with transaction(world.engine) as session:
        [job] = session.exec(select(Job).where(Job.subject_id == route_id, Job.kind == JobKind.JUDGE))
        job.state, job.last_error = "parked", "disk on fire"  # type: ignore[assignment]
    assert start(world) is not None
    world.drain()
    with transaction(world.engine) as session:
        older = session.exec(select(StandingVerdict.route_id).where(StandingVerdict.engine_version < ENGINE)).all()
    assert older == [route_id]
    # Given up by the newer engine too, it is not begun again and again.
    assert (start(world), world.drain()) == (None, 0)


def test_a_route_given_up_by_the_older_engine_is_tried_by_the_newer(world: World) -> None:
    age(world)
    with transaction(world.engine) as session:
        session.execute(update(Job).where(col(Job.kind) == JobKind.JUDGE).values(state="parked", last_error="a fault"))
    start(world)
    world.drain()
    assert (world.status()["judging_problem"], engines(world)) == (None, {ENGINE})


def test_a_submission_made_on_an_older_verdict_says_so(world: World) -> None:
    world.record(finished_route())
    with transaction(world.engine) as session:
        for table in (Fibre, StandingVerdict):
            session.execute(update(table).values(engine_version=OLDER))
    made = submit(world)
    world.drain()
    parked = submission(world, made)
    assert parked["state"] == "parked"
    assert f"made by engine {OLDER}, this program judges by engine {ENGINE}" in parked["problem"]
    assert "submit again" in parked["problem"]
    # It asks for nothing but time: the route is judged anew by itself, and its segments are free.
    start(world)
    world.drain()
    again = submit(world)
    world.drain()
    assert submission(world, again)["state"] == "issued"


def test_what_was_accepted_by_an_older_engine_is_told_apart_from_what_has_new_records(world: World) -> None:
    world.record(finished_route())
    submit(world)
    world.drain()
    assert decide(world, segments={"SEG1": "accepted"}).is_success
    world.drain()
    with transaction(world.engine) as session:
        for table in (Fibre, StandingVerdict, Submission):
            session.execute(update(table).values(engine_version=OLDER))
    assert since(world) == (False, False)
    age(world)
    start(world)
    world.drain()
    assert world.ask(TokenKind.CONTRACTOR, "GET", submission_path(world))["engine_version"] == OLDER
    assert (since(world), world.status()["segments"][0]["status"]) == ((False, True), "accepted")


def since(world: World) -> tuple[bool, bool]:
    """Tell whether a segment's verdict is another since it was submitted, and whether an older engine made that one."""
    [segment] = world.status()["segments"]
    return segment["has_changed_since"], segment["is_of_older_engine"]


def submission_path(world: World) -> str:
    return f"/v1/submissions/{world.status()['segments'][0]['submission_id']}"


@pytest.mark.timeout(120)
def test_a_worker_that_starts_finds_by_itself_what_an_older_one_judged(world: World, tmp_path: Path) -> None:
    add_routes(world, 2)
    age(world)
    with (
        Part("relay", world.settings, tmp_path / "relay.log"),
        Part("worker", world.settings, tmp_path / "worker.log"),
    ):
        wait_until(lambda: engines(world) == {ENGINE})
