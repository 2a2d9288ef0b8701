"""A design judges and bills once the engineer has agreed to it; until then the one agreed to last does."""

from datetime import datetime
from typing import Any
from uuid import uuid4

import orjson
import pytest

from service.actions.access.audit import verify_chain
from service.storage.session import snapshot
from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.words import TokenKind
from tests.factories import (
    both_ways,
    make_closure_state,
    make_criteria,
    make_design,
    make_site,
    make_splice,
    on_other_cable,
)
from tests.integration.api.acts import decide, let_hold, newest_package, refusal
from tests.integration.api.design_acts import (
    CONTRACTOR,
    ENGINEER,
    agree,
    describe_unagreed,
    design_of,
    longer,
    propose,
    refuse,
    revision_of,
    without_c1,
)
from tests.integration.api.test_signatures import file_of
from tests.integration.faults.acts import finished_route
from tests.world import World, describe_route, open_project, propose_design, read_demo
from worker.signing.check.parsing import read_attachment


def etag_of(world: World) -> str:
    tag: str = world.call(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/design").headers["ETag"]
    return tag


def revisions(world: World) -> tuple[int, int | None, int | None]:
    """Return by which revision the route is judged, which is agreed to and which proposed, as its status says too."""
    names = ("design_revision", "agreed_design_revision", "proposed_design_revision")
    route, status = world.ask(TokenKind.CREW, "GET", f"/v1/routes/{world.route_id}"), world.status()
    assert [route[name] for name in names] == [status[name] for name in names]
    return tuple(route[name] for name in names)


def actions(world: World) -> list[str]:
    with world.engine.connect() as connection:
        entries = connection.exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    return [orjson.loads(one)["action"] for one in entries]


def submitted(world: World) -> Any:
    made = world.submit()
    assert made.status_code == 202, made.text
    world.drain()
    return made


def test_what_is_proposed_judges_nothing_until_the_engineer_agrees(world: World) -> None:
    world.record(finished_route())
    before = world.status()["verdict_digest"]
    propose_design(world, longer())
    assert world.drain() == 0
    assert (revisions(world), world.status()["verdict_digest"]) == ((1, 1, 2), before)
    assert agree(world, 2).is_success
    assert (revisions(world), world.status()["fibres_waiting"]) == ((2, 2, None), 12)
    world.drain()
    after = world.status()["verdict_digest"]
    assert after != before
    # The design as it was is the verdict as it was.
    propose_design(world, make_design())
    assert agree(world, 3).is_success
    world.drain()
    assert world.status()["verdict_digest"] == before


def test_a_proposal_needs_the_state_that_was_seen(world: World) -> None:
    seen = etag_of(world)
    assert refusal(propose(world, longer(), etag=None), 428)["type"].endswith("precondition.missing")
    assert propose(world, longer(), etag=seen).headers["ETag"] == etag_of(world) != seen
    late = propose(world, longer(1600.0), etag=seen)
    assert refusal(late, 412)["type"].endswith("precondition.failed")
    assert late.headers["ETag"] == etag_of(world)
    # The same again, whose answer was lost, is no other revision.
    assert propose(world, longer(), etag=seen).is_success
    assert revisions(world) == (1, 1, 2)
    assert propose(world, longer(1600.0), etag=etag_of(world)).is_success
    assert (revisions(world), revision_of(world, 2)["state"]) == ((1, 1, 3), "withdrawn")


def test_a_record_does_not_make_a_proposal_stale(world: World) -> None:
    seen = etag_of(world)
    world.record([make_splice()])
    assert propose(world, longer(), etag=seen).is_success


@pytest.mark.parametrize("act", [agree, refuse, lambda world, _: propose(world, make_design(), etag=etag_of(world))])
def test_every_act_makes_another_state(world: World, act: Any) -> None:
    propose_design(world, longer())
    seen = etag_of(world)
    assert act(world, 2).is_success
    assert refusal(propose(world, longer(1600.0), etag=seen), 412)


def test_only_what_is_proposed_is_agreed_to_or_refused(world: World) -> None:
    for number in (1, 2):
        refusal(refuse(world, number), 409)
    refusal(agree(world, 2), 409)
    propose_design(world, longer())
    propose_design(world, longer(1600.0))
    refusal(agree(world, 2), 409)
    refusal(refuse(world, 2), 409)
    assert agree(world, 3).is_success
    assert agree(world, 3).json()["version"] == world.status()["version"]
    refusal(refuse(world, 3), 409)


def test_a_refusal_says_why_and_leaves_what_is_in_force(world: World) -> None:
    propose_design(world, longer())
    assert refuse(world, 2, "S1 is 1000 m by the laying record.").is_success
    assert world.drain() == 0
    assert revisions(world) == (1, 1, None)
    design, refused = design_of(world), revision_of(world, 2)
    assert (design["revision"], design["refusal"]["revision"]) == (1, 2)
    assert design["refusal"]["reason"] == refused["reason"] == "S1 is 1000 m by the laying record."
    assert (refused["state"], refused["is_in_force"], refused["effects"]) == ("refused", False, None)
    # The same again is told as it stands, with another reason it is another word.
    assert refuse(world, 2, "S1 is 1000 m by the laying record.").is_success
    refusal(refuse(world, 2, "Another reason."), 409)
    # The same content may be proposed again, as another revision; then it is no refusal any more.
    assert propose_design(world, longer())["proposed_design_revision"] == 3
    assert design_of(world)["refusal"] is None


def test_the_agreed_design_proposed_again_takes_the_proposal_back(world: World) -> None:
    propose_design(world, longer())
    assert propose_design(world, make_design())["proposed_design_revision"] is None
    assert revision_of(world, 2)["state"] == "withdrawn"
    assert actions(world)[-1] == "design.taken_back"
    said = len(actions(world))
    propose_design(world, make_design())
    assert (revisions(world), len(actions(world))) == ((1, 1, None), said)


def test_a_first_design_makes_work_and_no_money_until_it_is_agreed_to(world: World) -> None:
    describe_unagreed(world)
    world.record([make_splice(id=str(uuid4()), estimate_db=0.9)])
    assert [item["act"] for item in world.worklist()].count("re_splice") == 1
    world.record([{**record, "id": str(uuid4())} for record in finished_route()])
    assert (revisions(world), world.status()["segments"][0]["status"]) == ((1, None, 1), "conforming")
    assert refusal(world.submit(), 409)["type"].endswith("design.not_agreed")
    verdict = world.status()["verdict_digest"]
    assert agree(world, 1).is_success
    # It was judged by this design all along.
    assert (world.drain(), world.status()["verdict_digest"]) == (0, verdict)
    assert submitted(world).json()["design_revision"] == 1


def test_before_any_agreement_the_crew_works_by_what_was_proposed_last(world: World) -> None:
    design = describe_unagreed(world)
    assert refuse(world, 1).is_success
    assert revisions(world) == (1, None, None)
    refused = propose_design(world, design)
    assert (refused["design_revision"], refused["proposed_design_revision"]) == (2, 2)
    propose_design(world, on_other_cable(longer(), "R2"))
    assert (revisions(world), world.status()["fibres_waiting"]) == ((3, None, 3), 12)
    world.drain()
    assert agree(world, 3).is_success
    assert revisions(world) == (3, 3, None)


def test_nothing_comes_in_force_while_the_route_is_submitted(world: World) -> None:
    world.record(finished_route())
    propose_design(world, longer())
    made = submitted(world)
    assert refusal(agree(world, 2), 409)["type"].endswith("route.submitted")
    assert refusal(propose(world, longer(1600.0), etag=etag_of(world)), 409)["type"].endswith("route.submitted")
    assert decide(world, segments={"SEG1": "accepted"}).is_success
    assert agree(world, 2).is_success
    world.drain()
    # What was accepted is billed by the design that was agreed to when it was submitted: three kilometres.
    assert made.json()["design_revision"] == newest_package_revision(world) == 1
    about = orjson.loads(read_attachment(file_of(world, newest_package(world)), "package.json"))
    agreed_at = datetime.fromisoformat(revision_of(world, 1)["replied_at"])
    assert (about["design_revision"], datetime.fromisoformat(about["design_agreed_at"])) == (1, agreed_at)
    [notice] = world.ask(TokenKind.BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    assert notice["data"]["cable_length_m"] == "3000.00"


def newest_package_revision(world: World) -> int:
    submission = world.ask(ENGINEER, "GET", f"/v1/submissions/{newest_package(world)['submission_id']}")
    revision: int = submission["design_revision"]
    return revision


def test_who_proposes_does_not_agree(world: World) -> None:
    propose_design(world, longer())
    let_hold(world, ENGINEER, "p-1c9")
    assert refusal(agree(world, 2), 403)["type"].endswith("token.wrong_kind")
    refusal(refuse(world, 2), 403)
    assert revisions(world) == (1, 1, 2)


def test_a_crew_that_builds_what_is_proposed_loses_no_record(world: World) -> None:
    added = longer(closures=3)
    splice, lid = make_splice(site="C3"), make_closure_state(site="C3")
    assert [one["outcome"] for one in world.post_records([splice])["results"]] == ["refused"]
    propose_design(world, added)
    world.record([splice, lid])
    status = world.status()
    assert (status["is_judged"], status["judging_problem"]) == (True, None)
    assert agree(world, 2).is_success
    world.record(both_ways(design=added))
    assert "sealing_not_recorded" not in reasons(world, site="C3")
    assert "sealing_not_recorded" in reasons(world, site="C2")


@pytest.mark.parametrize("voiding", Voiding)
def test_records_at_a_place_that_is_not_in_force_disturb_no_judging(bare_world: World, voiding: Voiding) -> None:
    world = bare_world
    open_project(world, project=read_demo("project"), people=read_demo("people"))
    describe_route(world, design=make_design(), criteria=make_criteria(rework_voids=voiding.value))
    propose_design(world, longer(closures=3))
    opened = make_closure_state(
        site="C3",
        state="opened",
        opened_for=[{"section": "S4", "first": 1, "last": 2}],
        made_at="2025-03-01T07:00:00Z",
    )
    splice = make_splice(site="C3", fibres=[1, 2])
    world.record([*finished_route(), opened, splice, make_closure_state(site="C3")])
    before = world.status()
    assert (before["is_judged"], before["judging_problem"]) == (True, None)
    assert before["segments"][0]["status"] == "conforming"
    withdrawn = {"records": [splice["id"], opened["id"]], "reason": "another closure"}
    world.ask(CONTRACTOR, "POST", f"/v1/routes/{world.route_id}/withdrawals", json=withdrawn)
    world.drain()
    assert (world.status()["is_judged"], world.status()["verdict_digest"]) == (True, before["verdict_digest"])


def reasons(world: World, *, site: str) -> set[str]:
    findings = world.ask(ENGINEER, "GET", f"/v1/routes/{world.route_id}/fibres/1")["findings"]
    return {one["reason"] for one in findings if one.get("site") == site and "reason" in one}


def test_a_site_left_out_and_taken_in_again_knows_its_lid(world: World) -> None:
    propose_design(world, without_c1())
    assert agree(world, 2).is_success
    world.drain()
    mine = world.route_id
    # Its lid is shut where another route passes it, meanwhile.
    describe_unagreed(world)
    world.record([make_closure_state(site="C1")])
    world.route_id = mine
    propose_design(world, make_design())
    assert agree(world, 3).is_success
    world.record(both_ways())
    assert "sealing_not_recorded" not in reasons(world, site="C1")
    assert "sealing_not_recorded" in reasons(world, site="C2")


def test_a_proposal_keeps_no_site_for_itself(world: World) -> None:
    propose_design(world, longer(closures=3))
    other = on_other_cable(make_design(closures=3), "R2")
    other["sites"][3] = make_site("C3", kind="patch_panel")
    path = f"/v1/projects/{world.project_id}/routes"
    assert world.call(CONTRACTOR, "POST", path, json=other).status_code == 201
    assert "C3" not in refusal(agree(world, 2), 409)["title"]
    assert "is a patch_panel on another route" in refusal(agree(world, 2), 409)["detail"]


def test_each_act_is_one_audit_entry_and_the_chain_holds(world: World) -> None:
    said = len(actions(world))
    propose_design(world, longer())
    refuse(world, 2)
    propose_design(world, longer())
    agree(world, 3)
    assert actions(world)[said:] == ["design.proposed", "design.refused", "design.proposed", "design.agreed"]
    with snapshot(world.engine) as session:
        [project] = {row[0] for row in session.connection().exec_driver_sql("SELECT project_id FROM audit_entry")}
        assert verify_chain(session, project) is None
