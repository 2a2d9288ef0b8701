"""One record that judging fails on is told of its own fibre; every other fibre is judged, and nothing is signed."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import uuid4

import pytest
from sqlmodel import col, select
from structlog.testing import capture_logs

from service.storage.session import transaction
from service.storage.tables import Fibre
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.conftest import Servers
from tests.factories import (
    finished_fibre,
    make_attenuation,
    make_closure_state,
    make_criteria,
    make_design,
    make_otdr,
    make_splice,
    splice_criterion,
)
from tests.integration.api.acts import refusal
from tests.integration.faults.acts import FIBRES, finished_route, job_of, submit
from tests.world import World, describe_route, open_project, read_demo
from worker.jobs.runner import HopelessError
from worker.judgement.rules.kinds.joint_losses import JointLossRule

ENGINEER, CONTRACTOR = TokenKind.ENGINEER, TokenKind.CONTRACTOR
BROKEN = 3
_SECRET = "op-secret"


@pytest.fixture
def breaking(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Exception]]:
    """Let the rule about splices raise, while an error stands in the list, where a trace says that device made it."""
    errors: list[Exception] = [ValueError(f"a fault of ours over {_SECRET}")]
    found = JointLossRule.found

    def found_or_fault(rule: Any, fibre: Any) -> Any:
        if errors and any(trace.stamp.device == "breaks-it" for trace in fibre.history.traces):
            raise errors[0]
        return found(rule, fibre)

    monkeypatch.setattr(JointLossRule, "found", found_or_fault)
    yield errors


def broken_trace(**changes: Any) -> dict[str, Any]:
    return make_otdr(fibre=BROKEN, device="breaks-it", operator=_SECRET, **changes)


def fibre_document(world: World, number: int) -> Any:
    return world.ask(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/fibres/{number}")


def fibres(world: World) -> Sequence[Fibre]:
    with transaction(world.engine) as session:
        return session.exec(select(Fibre).order_by(col(Fibre.number))).all()


def alter(servers: Servers, world: World, record_id: str, body: str) -> None:
    """Change a stored record behind the service's back, as only the database's owner can."""
    database = str(world.engine.url.database)
    with servers.postgres.connect(database=database) as owner:
        done = owner.execute("UPDATE record SET body = %s WHERE id = %s", (body, record_id))
        assert done.rowcount == 1


@pytest.mark.usefixtures("breaking")
def test_a_record_that_a_rule_fails_on_keeps_no_other_fibre_from_being_judged(world: World) -> None:
    world.post_records([*finished_route(), broken_trace()])
    world.drain()
    judged = fibres(world)
    assert [one.number for one in judged if one.problem is not None] == [BROKEN]
    assert all(one.judged_version == one.evidence_version for one in judged)
    assert fibre_document(world, BROKEN)["findings"] == []
    assert fibre_document(world, BROKEN)["problem"].startswith("ValueError in ")
    whole = {number: fibre_document(world, number) for number in range(1, FIBRES + 1) if number != BROKEN}
    assert {finding["outcome"] for one in whole.values() for finding in one["findings"]} == {"conforming"}
    assert job_of(world, JobKind.JUDGE).state == "idle"


@pytest.mark.usefixtures("breaking")
def test_a_route_with_a_fibre_that_can_not_be_judged_is_never_conforming_and_never_submitted(world: World) -> None:
    world.post_records([*finished_route(), broken_trace()])
    world.drain()
    status = world.status()
    assert (status["is_judged"], status["fibres_waiting"]) == (False, 0)
    assert status["judging_problem"].startswith(f"fibre {BROKEN} cannot be judged: ValueError")
    [segment] = status["segments"]
    assert (segment["status"], segment["counts"]["undetermined"]) == ("in_progress", 1)
    problem = refusal(submit(world), 409)
    assert f"fibre {BROKEN} cannot be judged" in problem["detail"]
    concession = {"criterion": "SPLICE-1550", "fibre": BROKEN, "site": "C1", "position": 1, "reason": "none"}
    refusal(world.submit(concessions=[concession]), 409)


@pytest.mark.usefixtures("breaking")
def test_what_broke_is_logged_without_a_word_of_the_record(world: World) -> None:
    world.post_records([broken_trace()])
    with capture_logs() as logs:
        world.drain()
    [entry] = [entry for entry in logs if entry["event"] == "fibre.not_judged"]
    assert (entry["fibre"], entry["route_id"], entry["log_level"]) == (BROKEN, world.route_id, "error")
    assert entry["problem"].startswith("ValueError in ")
    assert _SECRET not in repr(logs)
    assert _SECRET not in str(fibre_document(world, BROKEN)) + str(world.status())


def test_the_fibre_waits_for_evidence_of_its_own_and_is_judged_anew_by_it(
    world: World, breaking: list[Exception]
) -> None:
    world.post_records([*finished_route(), broken_trace()])
    world.drain()
    [before] = [one for one in fibres(world) if one.number == BROKEN]
    breaking.clear()
    # A test, for a splice before a lid was shut may say of every fibre that the closure had been open.
    world.post_records([make_attenuation(id=str(uuid4()), fibre=1)])
    world.drain()
    [after] = [one for one in fibres(world) if one.number == BROKEN]
    assert (after.judged_version, after.problem) == (before.judged_version, before.problem)
    world.post_records([make_splice(fibres=[BROKEN], made_at="2025-03-02T08:00:00Z")])
    world.drain()
    [healed] = [one for one in fibres(world) if one.number == BROKEN]
    assert healed.problem is None
    assert (world.status()["is_judged"], world.status()["judging_problem"]) == (True, None)


@pytest.mark.parametrize("error", [HopelessError("no use"), MemoryError("no room")], ids=["hopeless", "memory"])
def test_what_is_not_the_record_s_fault_stays_a_matter_of_the_job(
    world: World, breaking: list[Exception], error: Exception
) -> None:
    breaking[:] = [error]
    world.post_records([broken_trace()])
    world.drain()
    job = job_of(world, JobKind.JUDGE)
    assert job.state == ("parked" if isinstance(error, HopelessError) else "due")
    assert str(error) in (job.last_error or "")
    assert all(one.problem is None for one in fibres(world))


@pytest.mark.parametrize("body", ["{", '{"kind": "otdr"}'], ids=["not JSON", "not a record"])
def test_a_stored_body_that_was_altered_is_told_of_its_fibre_alone(servers: Servers, world: World, body: str) -> None:
    bad = make_otdr(fibre=BROKEN)
    world.post_records([*finished_route(), make_otdr(fibre=BROKEN, made_at="2025-03-21T08:00:00Z")])
    alter(servers, world, bad["id"], body)
    world.drain()
    assert [one.number for one in fibres(world) if one.problem is not None] == [BROKEN]
    document = fibre_document(world, BROKEN)
    assert document["problem"].endswith("; 1 of its records are not what was hashed when they came")
    assert fibre_document(world, 1)["findings"]


def test_a_whole_site_s_record_that_was_altered_is_told_of_every_fibre(servers: Servers, world: World) -> None:
    sealed = make_closure_state(site="C1")
    world.post_records(finished_route())
    alter(servers, world, sealed["id"], "{")
    world.drain()
    assert all(one.problem is not None for one in fibres(world))
    assert world.status()["judging_problem"].endswith(f", and {FIBRES - 1} more fibres")
    assert job_of(world, JobKind.JUDGE).state == "idle"


@pytest.mark.usefixtures("breaking")
def test_a_trial_counts_the_fibre_that_can_not_be_judged_and_tries_the_others(world: World) -> None:
    world.post_records([*finished_route(), broken_trace()])
    world.drain()
    form = {"route_id": world.route_id, "criteria": make_criteria()}
    made = world.ask(ENGINEER, "POST", f"/v1/projects/{world.project_id}/criteria/trial", json=form)
    world.drain()
    result = world.ask(ENGINEER, "GET", f"/v1/trials/{made['id']}")["result"]
    assert (result["fibres_not_judged"], result["fibres_changed"]) == (1, 0)
    assert [one["outcome"] for one in result["segments"]] == ["undetermined"]


@pytest.mark.parametrize("fibre_count", [1, 1728])
def test_a_route_of_the_fewest_and_of_the_most_fibres_is_judged_whole(bare_world: World, fibre_count: int) -> None:
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    design = make_design(closures=0, fibre_count=fibre_count)
    describe_route(bare_world, design=design, criteria=make_criteria(criteria=[splice_criterion()]))
    bare_world.drain()
    bare_world.post_records(finished_fibre(fibre=fibre_count, design=design))
    bare_world.drain()
    status = bare_world.status()
    assert (status["is_judged"], status["fibres_waiting"]) == (True, 0)
    assert sum(status["segments"][0]["counts"].values()) == 2 * fibre_count
    assert fibre_document(bare_world, fibre_count)["findings"]


def test_a_wavelength_that_was_never_measured_is_undetermined_for_want_of_evidence(bare_world: World) -> None:
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    other = splice_criterion(code="SPLICE-1625", wavelength_nm=1625)
    describe_route(bare_world, design=make_design(), criteria=make_criteria(criteria=[other]))
    bare_world.post_records(finished_route())
    bare_world.drain()
    findings = fibre_document(bare_world, 1)["findings"]
    assert {(one["outcome"], one["reason"]) for one in findings} == {("undetermined", "no_evidence")}
    assert len(findings) == 4


def test_a_section_without_a_closure_conforms_by_its_two_ends(bare_world: World) -> None:
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    design = make_design(closures=0)
    describe_route(bare_world, design=design, criteria=make_criteria())
    records = [one for fibre in range(1, FIBRES + 1) for one in finished_fibre(fibre=fibre, design=design)]
    for record in records:
        if record["kind"] == "attenuation":
            record["loss_db"] = 1.0
    bare_world.post_records(records)
    bare_world.drain()
    [segment] = bare_world.status()["segments"]
    assert (segment["status"], segment["counts"]["undetermined"]) == ("conforming", 0)
