"""A submission is about the verdict that was seen, and its package about the records that were there."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

import orjson
import pytest
from sqlalchemy.engine import make_url
from sqlmodel import select

from service.actions.acceptance.submissions import SubmissionForm
from service.actions.acceptance.submissions import submit as submit_in
from service.actions.access.tokens import Caller
from service.actions.records.accept import Receipt, accept_records
from service.storage.session import transaction
from service.storage.tables import AuditEntry, Package
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.conftest import Servers
from tests.factories import make_splice
from tests.integration.faults.acts import finished_route, job_of, package_file, submission, submit
from tests.integration.faults.pausing import before_write
from tests.world import World
from worker.judgement.route import settle as settling
from worker.signing.check.parsing import read_attachment
from worker.steps import package


@pytest.fixture
def judged_world(world: World) -> World:
    """A route that conforms."""
    world.post_records(finished_route())
    world.drain()
    assert [one["status"] for one in world.status()["segments"]] == ["conforming"]
    return world


def test_a_submission_of_a_verdict_that_was_overtaken_is_refused(judged_world: World) -> None:
    world = judged_world
    seen = world.status()["verdict_digest"]
    world.post_records([_late_splice()])
    answer = submit(world, verdict_digest=seen)
    assert (answer.status_code, answer.json()["type"].rsplit(":")[-1]) == (409, "route.not_settled")
    world.drain()
    answer = submit(world, verdict_digest=seen)
    assert (answer.status_code, answer.json()["type"].rsplit(":")[-1]) == (412, "verdict.superseded")
    assert world.status()["segments"][0]["submission_id"] is None


def test_a_submission_waits_for_a_posting_that_holds_the_route_and_then_sees_it(judged_world: World) -> None:
    world = judged_world
    seen = world.status()["verdict_digest"]
    with ThreadPoolExecutor(1) as contractor:
        with transaction(world.engine) as session:
            [answer] = accept_records(
                session,
                _caller(world, TokenKind.CREW),
                UUID(world.route_id),
                sent_at=datetime.now(UTC),
                items=[_late_splice()],
            )
            assert answer.receipt is Receipt.STORED
            submitting = contractor.submit(submit, world, verdict_digest=seen)
            time.sleep(0.5)
            assert not submitting.done()
        assert submitting.result().status_code == 409


def test_a_posting_waits_for_a_submission_and_is_not_in_its_package(judged_world: World) -> None:
    world, late = judged_world, _late_splice()
    form = SubmissionForm(
        segments=("SEG1",), verdict_digest=world.status()["verdict_digest"], responsible_person="p-1c9"
    )
    with ThreadPoolExecutor(1) as crew:
        with transaction(world.engine) as session:
            submit_in(session, _caller(world, TokenKind.CONTRACTOR), UUID(world.route_id), form)
            posting = crew.submit(world.post_records, [late])
            time.sleep(0.5)
            assert not posting.done()
        assert posting.result()["failed"] == 0
    world.drain()
    [segment] = world.status()["segments"]
    assert (segment["status"], segment["has_changed_since"]) == ("submitted", True)
    assert late["id"] not in _packaged_ids(world, segment["package_id"])


def test_records_that_arrive_while_the_package_is_made_do_not_enter_it(
    judged_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world, late = judged_world, [_late_splice() for _ in range(2)]
    made = submit(world)
    world.post_records([late[0]])
    before_write(monkeypatch, package, lambda: world.post_records([late[1]]))
    world.drain()
    state = submission(world, made)
    assert state["state"] == "issued"
    packaged = _packaged_ids(world, state["package_id"])
    assert packaged == {record["id"] for record in finished_route()}


def test_many_submissions_at_once_make_one(judged_world: World) -> None:
    world = judged_world
    seen, start = world.status()["verdict_digest"], threading.Barrier(6)

    def ask(_: int) -> int:
        start.wait()
        return submit(world, verdict_digest=seen).status_code

    with ThreadPoolExecutor(6) as offices:
        assert sorted(offices.map(ask, range(6))) == [202, 409, 409, 409, 409, 409]


ALTER_A_READING = "regexp_replace(body, '(\"loss_db\":\")1', '\\10')"
ALTER_WHO_TOOK_IT = "regexp_replace(body, '(\"operator\":\")[^\"]+', '\\1another')"


@pytest.fixture(params=[ALTER_A_READING, ALTER_WHO_TOOK_IT], ids=["reading", "operator"])
def altered_record(request: pytest.FixtureRequest, judged_world: World, servers: Servers) -> World:
    """A route whose records were altered behind the service's back after they were judged."""
    world = judged_world
    database = make_url(world.settings.database_url.get_secret_value()).database
    assert database is not None
    with servers.postgres.connect(database=database) as superuser:
        assert superuser.execute(f"UPDATE record SET body = {request.param} WHERE kind = 'attenuation'").rowcount > 0
    return world


def test_an_altered_record_parks_the_submission_and_signs_nothing(altered_record: World) -> None:
    _parks_and_signs_nothing(altered_record)


def test_another_engine_parks_the_submission_and_the_segments_can_be_submitted_again(
    judged_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = judged_world
    with monkeypatch.context() as patch:
        patch.setattr(settling, "ENGINE_VERSION", "another")
        _parks_and_signs_nothing(world)
    again = submit(world)
    world.drain()
    assert submission(world, again)["state"] == "issued"


def _late_splice() -> dict[str, Any]:
    return make_splice(id=str(uuid4()), fibres=[3], estimate_db=0.2, made_at="2025-03-21T08:00:00Z")


def _parks_and_signs_nothing(world: World) -> None:
    etag = _status_etag(world)
    made = submit(world)
    submitted = _status_etag(world)
    world.drain()
    state = submission(world, made)
    assert (state["state"], state["package_id"]) == ("parked", None)
    assert "nothing was signed" in state["problem"]
    job = job_of(world, JobKind.PACKAGE)
    assert (job.state, job.attempts, job.last_error) == ("parked", 1, state["problem"])
    assert len({etag, submitted, _status_etag(world)}) == 3
    assert [one["status"] for one in world.status()["segments"]] == ["conforming"]
    assert not list(world.settings.blob_dir.rglob("*"))
    with transaction(world.engine) as session:
        assert session.exec(select(Package)).all() == []
        assert not [one for one in session.exec(select(AuditEntry.entry)) if "package.signed" in one]


def _status_etag(world: World) -> str:
    path = f"/v1/routes/{world.route_id}/acceptance"
    return world.call(TokenKind.CONTRACTOR, "GET", path).headers["ETag"]


def _packaged_ids(world: World, package_id: str) -> set[str]:
    records = orjson.loads(read_attachment(package_file(world, package_id), "records.json"))
    assert isinstance(records["records"], list)
    return {one["record"]["id"] for one in records["records"]}


def _caller(world: World, kind: TokenKind) -> Caller:
    return Caller(token_id=uuid4(), kind=kind, holder=None, projects=[UUID(world.project_id)], now=datetime.now(UTC))
