"""Two versions of the program run at once: an older one writes over nothing that a newer one judged."""

from uuid import uuid4

from sqlalchemy.engine import make_url
from sqlmodel import col, select, update

from service.storage.session import transaction
from service.storage.tables import Fibre, StandingVerdict, Submission
from service.vocabulary.states import JobKind
from tests.conftest import Servers
from tests.factories import make_splice
from tests.integration.faults.acts import finished_route, hurry, job_of, submission, submit
from tests.world import World
from worker.judgement.judge import ENGINE

NEWER = ENGINE + 1


def test_fibres_and_verdicts_say_which_engine_made_them(world: World) -> None:
    world.post_records(finished_route())
    world.drain()
    made = submit(world)
    with transaction(world.engine) as session:
        assert {fibre.engine_version for fibre in session.exec(select(Fibre))} == {ENGINE}
        assert session.exec(select(StandingVerdict.engine_version)).one() == ENGINE
        assert session.exec(select(Submission.engine_version)).one() == ENGINE
    assert submission(world, made)["state"] == "queued"


def test_a_fibre_that_a_newer_engine_judged_waits_for_it_and_its_neighbours_do_not(world: World) -> None:
    world.post_records([make_splice(), make_splice(id=str(uuid4()), fibres=[2])])
    world.drain()
    _set_engine(world, NEWER, fibre=1)
    before = _fibre(world, 1)
    world.post_records([make_splice(id=str(uuid4()), fibres=[number], estimate_db=0.2) for number in (1, 2)])
    world.drain()
    mine, other = _fibre(world, 1), _fibre(world, 2)
    assert (mine.content, mine.judged_version, mine.engine_version) == (before.content, before.judged_version, NEWER)
    assert mine.judged_version < mine.evidence_version
    assert other.judged_version == other.evidence_version
    # It is nobody's failure: the job waits for a newer worker, and no attempt was counted.
    job = job_of(world, JobKind.JUDGE)
    assert (job.state, job.attempts, job.last_error) == ("due", 0, None)
    # The newer one, as far as an older one can play it.
    _set_engine(world, ENGINE, fibre=1)
    hurry(world, JobKind.JUDGE)
    world.drain()
    assert world.status()["is_judged"]


def test_a_newer_verdict_stands_until_a_newer_engine_settles_again(world: World) -> None:
    world.post_records([make_splice()])
    world.drain()
    with transaction(world.engine) as session:
        session.execute(update(StandingVerdict).values(engine_version=NEWER, digest="newer"))
    world.post_records([make_splice(id=str(uuid4()), fibres=[2])])
    world.drain()
    with transaction(world.engine) as session:
        assert session.exec(select(StandingVerdict.digest)).one() == "newer"
    assert job_of(world, JobKind.SETTLE).state == "due"


def test_a_submission_of_a_newer_verdict_is_not_given_up_by_an_older_worker(world: World) -> None:
    world.post_records(finished_route())
    world.drain()
    made = submit(world)
    with transaction(world.engine) as session:
        session.execute(update(Submission).values(engine_version=NEWER))
    world.drain()
    assert submission(world, made)["state"] == "queued"
    assert (job_of(world, JobKind.PACKAGE).state, job_of(world, JobKind.PACKAGE).attempts) == ("due", 0)
    with transaction(world.engine) as session:
        session.execute(update(Submission).values(engine_version=ENGINE))
    hurry(world, JobKind.PACKAGE)
    world.drain()
    assert submission(world, made)["state"] == "issued"


def test_a_newer_schema_stops_neither_reading_nor_recording_nor_judging(world: World, servers: Servers) -> None:
    world.post_records([make_splice()])
    world.drain()
    database = make_url(world.settings.database_url.get_secret_value()).database
    assert database is not None
    with servers.postgres.connect(database=database) as superuser:
        for table in ("record", "fibre", "job", "route", "package"):
            superuser.execute(f"ALTER TABLE {table} ADD COLUMN of_later integer NOT NULL DEFAULT 7".encode())
        superuser.execute("UPDATE alembic_version SET version_num = 'of_later'")
    world.post_records([make_splice(id=str(uuid4()), fibres=[2], estimate_db=0.2)])
    world.drain()
    assert world.status()["is_judged"]
    assert world.worklist()
    assert world.http.get("/health/ready").is_success


def _set_engine(world: World, engine: int, *, fibre: int) -> None:
    with transaction(world.engine) as session:
        session.execute(update(Fibre).where(col(Fibre.number) == fibre).values(engine_version=engine))


def _fibre(world: World, number: int) -> Fibre:
    with transaction(world.engine) as session:
        return session.exec(select(Fibre).where(Fibre.number == number)).one()
