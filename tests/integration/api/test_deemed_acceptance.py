"""Acceptance deemed after days: by the clock alone, only of what conforms, stopped by any word of the engineer's."""

import subprocess
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlmodel import col, select, update

from service.actions.acceptance.decisions import lock_context
from service.actions.acceptance.deeming import deem
from service.storage.session import transaction
from service.storage.tables import AuditEntry, Job, Package
from service.vocabulary.states import JobKind, JobState
from service.vocabulary.words import TokenKind
from tests.factories import Body, both_ways, cord_ended, only, sealed, splice_criterion
from tests.integration.api.acts import newest_package, refusal, send_in
from tests.outside_tools import require_tool
from tests.world import World, describe_route, open_project, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
DAYS = 2
CONCESSION = {"criterion": "SPLICE-1550", "fibre": 1, "site": "C2", "position": 1, "reason": "the budget has room"}


def submitted(
    world: World, *, days: int | None = DAYS, loss_db: float = 0.03, concessions: Sequence[Body] = ()
) -> World:
    """Return a route of one fibre, submitted whole and its package issued."""
    open_project(world, project=read_demo("project"), people=read_demo("people"))
    criteria = only(splice_criterion()) | ({} if days is None else {"deemed_after_days": days})
    describe_route(world, design=cord_ended(fibres=1), criteria=criteria)
    world.record([*sealed(), *both_ways(design=cord_ended(fibres=1), losses_db={"C1": 0.03, "C2": loss_db})])
    assert world.submit(concessions=concessions).is_success
    world.drain()
    return world


def after(world: World, days: float) -> World:
    """Let days pass since the package was issued, and do what became due: in the rows, for clocks have to be right."""
    left = timedelta(days=DAYS - days)
    with transaction(world.engine) as session:
        [package] = session.exec(select(Package)).all()
        package.deemed_at = datetime.now(UTC) + left
        session.execute(
            update(Job)
            .where(col(Job.kind) == JobKind.DEEM.value, col(Job.state) == JobState.DUE.value)
            .values(due_at=package.deemed_at, hinted_at=None)
        )
    world.drain()
    return world


def notices(world: World) -> list[Any]:
    found: list[Any] = world.ask(BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    return found


def standing(world: World) -> str:
    status: str = world.status()["segments"][0]["status"]
    return status


def notice_defect(world: World, reason: str = "C2 is under water") -> httpx.Response:
    path = f"/v1/packages/{newest_package(world)['id']}/defect_notice"
    return world.call(ENGINEER, "POST", path, json={"reason": reason})


def decide(world: World, word: str) -> httpx.Response:
    package = newest_package(world)
    form = {"package_sha256": package["certified_sha256"], "segments": {"SEG1": word}}
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    return world.call(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=form, headers=headers)


def test_what_conforms_is_deemed_accepted_after_its_days_and_not_before(bare_world: World) -> None:
    world = submitted(bare_world)
    package = newest_package(world)
    issued, deemed = (datetime.fromisoformat(package[name]) for name in ("issued_at", "deemed_at"))
    assert deemed - issued == timedelta(days=DAYS)
    after(world, DAYS - 0.01)
    assert (standing(world), notices(world)) == ("submitted", [])
    after(world, DAYS + 0.01)
    assert standing(world) == "accepted"
    [notice] = notices(world)
    assert (notice["data"]["is_deemed"], notice["data"]["fibres_accepted"]) == (True, 1)
    answer = world.http.get(f"/v1/verifications/{package['verification_code']}").json()
    assert answer["decision"] == "deemed_accepted"


def test_what_the_clock_decided_is_sealed_as_nobodys_act(bare_world: World) -> None:
    world = after(submitted(bare_world), DAYS + 0.01)
    package = newest_package(world)
    [seal] = package["signatures"]
    assert (seal["role"], seal["by"], seal["signer"]) == ("decision", "service_seal", None)
    answer = world.http.get(f"/v1/verifications/{package['verification_code']}").json()
    assert (answer["decision"], answer["awaited_signatures"]) == ("deemed_accepted", [])
    refusal(send_in(world, package, "engineer", b"%PDF-1.7"), 409)


def test_the_package_says_that_nobody_decided(bare_world: World, tmp_path: Path) -> None:
    world = after(submitted(bare_world), DAYS + 0.01)
    package = newest_package(world)
    assert package["decision"]["deemed_after_days"] == DAYS
    file = tmp_path / "package.pdf"
    file.write_bytes(world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").content)
    tool = require_tool("pdftotext")
    said = subprocess.run([tool, "-layout", str(file), "-"], capture_output=True, text=True, check=True, timeout=60)
    text = " ".join(said.stdout.split())
    for sentence in (
        f"deemed accepted {DAYS} days after its issue unless a decision or a notice of a defect comes before",
        f"or deemed by the criteria {DAYS} days after issue",
        f"By the criteria 1 segment of this package came to be deemed accepted for {read_demo('project')['owner']} on ",
        f"latent defects excepted: nobody decided or gave notice of a defect within {DAYS} days of issue, and this is "
        "nobody's word.",
        "Accepted SEG1; latent defects excepted",
    ):
        assert sentence in text
    decision = text.partition("Decision on the segments submitted")[2].partition("Contractor's own signature")[0]
    assert "SEG1" in decision
    for absent in ("Petra", "engineer", "Own signature"):
        assert absent not in decision


def test_a_decision_in_time_is_the_engineers_own(bare_world: World) -> None:
    world = submitted(bare_world)
    assert decide(world, "refused").status_code == 200
    after(world, DAYS + 0.01)
    assert (standing(world), notices(world)) == ("refused", [])


def test_a_defect_notice_stops_the_clock_and_leaves_the_decision(bare_world: World) -> None:
    world = submitted(bare_world)
    assert notice_defect(world).status_code == 200
    assert newest_package(world)["defect_notice"] == "C2 is under water"
    assert notice_defect(world).status_code == 200
    refusal(notice_defect(world, "another"), 409)
    after(world, DAYS + 0.01)
    assert (standing(world), notices(world)) == ("submitted", [])
    assert decide(world, "accepted").status_code == 200
    assert [one["data"]["is_deemed"] for one in notices(world)] == [False]


def test_a_defect_notice_that_came_before_the_lock_stops_the_clock_though_the_package_was_read_before(
    bare_world: World,
) -> None:
    world = submitted(bare_world)
    later = datetime.now(UTC) + timedelta(days=DAYS + 1)
    with transaction(world.engine) as session:
        package = session.exec(select(Package)).one()
        assert notice_defect(world).status_code == 200
        assert deem(session, lock_context(session, [package.project_id], package.id), now=later) is None


def test_after_a_decision_there_is_no_defect_notice(bare_world: World) -> None:
    world = submitted(bare_world)
    assert decide(world, "accepted").status_code == 200
    refusal(notice_defect(world), 409)


@pytest.mark.parametrize(
    "how", [{"days": None}, {"loss_db": 0.2, "concessions": [CONCESSION]}], ids=["not agreed", "a concession is asked"]
)
def test_nothing_else_is_deemed_accepted(bare_world: World, how: dict[str, Any]) -> None:
    world = submitted(bare_world, **how)
    assert newest_package(world)["deemed_at"] is None
    after(world, 400)
    assert (standing(world), notices(world)) == ("submitted", [])


def test_a_worker_whose_clock_is_behind_lets_the_package_wait(bare_world: World) -> None:
    world = submitted(bare_world)
    with transaction(world.engine) as session:
        session.execute(
            update(Job).where(col(Job.kind) == JobKind.DEEM.value).values(due_at=datetime.now(UTC), hinted_at=None)
        )
    world.drain()
    assert standing(world) == "submitted"
    with transaction(world.engine) as session:
        state, due_at = session.execute(select(Job.state, Job.due_at).where(col(Job.kind) == JobKind.DEEM.value)).one()
    assert state == JobState.DUE.value
    assert due_at > datetime.now(UTC) + timedelta(days=DAYS - 0.1)


def test_it_is_told_once_however_often_its_job_runs(bare_world: World) -> None:
    world = after(submitted(bare_world), DAYS + 0.01)
    with transaction(world.engine) as session:
        session.execute(
            update(Job)
            .where(col(Job.kind) == JobKind.DEEM.value)
            .values(state=JobState.DUE.value, due_at=datetime.now(UTC), hinted_at=None)
        )
    world.drain()
    assert len(notices(world)) == 1
    with transaction(world.engine) as session:
        deeds = session.exec(select(AuditEntry).where(col(AuditEntry.entry).contains("deemed_accepted"))).all()
    assert len(deeds) == 1
