"""A finding about several fibres on its way: status, findings, submission, package, decision, notice."""

from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    make_closure_state,
    make_otdr,
    only,
    splice_criterion,
    statistic_criterion,
)
from tests.integration.api.acts import newest_package, pointers, refusal
from tests.world import World, describe_route, open_project, read_demo

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
FIBRES = 3
CONCESSION = {"criterion": "MEAN", "reason": "the budget has room for it"}
# 0.09 dB and less in C1 and 0.03 dB in C2: each splice keeps 0.10 dB, and the mean of all is above 0.05 dB.
LOSSES_DB = {1: 0.09, 2: 0.088, 3: 0.086}


@pytest.fixture
def route(bare_world: World) -> World:
    """Serve the API with a route of three fibres, whose splices are limited one by one and in the mean."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    criteria = only(splice_criterion(), statistic_criterion(over="route", limit_db=0.05))
    describe_route(bare_world, design=cord_ended(fibres=FIBRES), criteria=criteria)
    bare_world.drain()
    return bare_world


def record(world: World, *, sealed: tuple[str, ...] = ("C1", "C2"), losses_db: dict[int, float] = LOSSES_DB) -> None:
    """Seal closures, test every fibre from both ends, and let all be judged."""
    design = cord_ended(fibres=FIBRES)
    bodies: list[Body] = [make_closure_state(site=site) for site in sealed]
    for fibre, loss_db in losses_db.items():
        bodies += both_ways(fibre=fibre, losses_db={"C1": loss_db, "C2": 0.03}, design=design)
    world.record(bodies)


def submit(world: World, *concessions: Body) -> Any:
    return world.submit(concessions=concessions)


def findings(world: World, query: str = "") -> list[Any]:
    items: list[Any] = world.ask(ENGINEER, "GET", f"/v1/routes/{world.route_id}/findings{query}")["items"]
    return items


def test_it_counts_in_the_status_of_its_segment(route: World) -> None:
    record(route)
    [segment] = route.status()["segments"]
    assert segment["status"] == "nonconforming"
    assert segment["counts"] == {"conforming": 2 * FIBRES, "nonconforming": 1, "undetermined": 0}


def test_what_it_lacks_is_listed_as_missing(route: World) -> None:
    record(route, sealed=("C1",))
    status = route.status()
    lacking = {"segment": "SEG1", "criterion": "MEAN", "reason": "members_unknown", "findings": 1}
    assert lacking in status["missing"]
    assert status["segments"][0]["status"] == "in_progress"


def test_it_is_shown_once_and_before_those_of_the_fibres(route: World) -> None:
    record(route)
    path, seen = f"/v1/routes/{route.route_id}/findings?limit=1", []
    while path:
        answer = route.call(ENGINEER, "GET", path)
        seen.append([one.get("fibre") for one in answer.json()["items"]])
        path = answer.links.get("next", {}).get("url", "")
    assert seen == [[None, 1, 1], [2, 2], [3, 3]]
    [together] = findings(route, "?outcome=nonconforming")
    assert (together["criterion"], together["population"], together["count"]) == ("MEAN", "route", 6)
    assert together["value"] == "0.0590"
    assert findings(route, "?segment=SEG2") == []


@pytest.mark.parametrize("unlike", [{"fibre": 1}, {"site": "C1"}, {"criterion": "SPLICE-1550"}])
def test_it_is_not_submitted_without_a_concession_that_names_it(route: World, unlike: Body) -> None:
    record(route)
    for concessions in ([], [{**CONCESSION, **unlike}]):
        problem = refusal(submit(route, *concessions), 422)
        assert problem["type"].endswith("submission.not_conforming")
        assert pointers(problem) == ["/concessions"]
        assert problem["errors"][0]["detail"] == (
            "MEAN, several fibres: nonconforming: mean of 6 splices on 3 fibres from A to B"
        )


def test_with_one_it_is_packaged_from_scratch_decided_and_billed(route: World) -> None:
    record(route)
    assert submit(route, CONCESSION).status_code == 202
    route.drain()
    [segment] = route.status()["segments"]
    submission = route.ask(ENGINEER, "GET", f"/v1/submissions/{segment['submission_id']}")
    # Judged anew from the frozen records it came to the same verdict, or nothing would have been signed.
    assert (submission["state"], submission["problem"]) == ("issued", None)
    assert submission["concessions"] == [{**CONCESSION, "number": 1, "segments": ["SEG1"]}]
    package = newest_package(route)
    form = {
        "package_sha256": package["certified_sha256"],
        "segments": {"SEG1": "accepted"},
        "concessions_granted": [1],
    }
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    route.ask(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=form, headers=headers)
    [notice] = route.ask(BILLING, "GET", f"/v1/projects/{route.project_id}/notices")["notices"]
    assert (notice["data"]["fibres_accepted"], notice["data"]["fibres_conceded"]) == (FIBRES, 0)


def test_a_concession_for_several_findings_names_the_segments_of_all(bare_world: World) -> None:
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    design = cord_ended(fibres=FIBRES)
    [segment] = design["segments"]
    near = {**segment, "sites": ["A", "C1"], "sections": ["S1", "S2"]}
    far = {**segment, "id": "SEG2", "sites": ["C2", "B"], "sections": ["S3"]}
    design["segments"] = [near, far]
    criteria = only(splice_criterion(), statistic_criterion(over="route", limit_db=0.02))
    describe_route(bare_world, design=design, criteria=criteria)
    record(bare_world)
    submission = bare_world.submit(["SEG1", "SEG2"], concessions=[CONCESSION]).json()
    assert submission["concessions"][0]["segments"] == ["SEG1", "SEG2"]


def test_suspicions_are_read_by_those_who_weigh_them(route: World) -> None:
    path = f"/v1/routes/{route.route_id}/suspicions"
    # Ten seconds apart on one instrument, each averaged for thirty.
    design = cord_ended(fibres=FIBRES)
    traces = [make_otdr(fibre=n, made_at=f"2025-03-20T09:00:{10 * n}Z", design=design) for n in (1, 2)]
    route.record([*(make_closure_state(site=site) for site in ("C1", "C2")), *traces])
    kinds = {one["kind"] for one in route.ask(ENGINEER, "GET", path)["items"]}
    assert "two_fibres_at_once" in kinds
    refusal(route.call(CREW, "GET", path), 403)


def test_a_trial_of_criteria_counts_what_several_fibres_come_to(route: World) -> None:
    record(route)
    criteria = only(splice_criterion(), statistic_criterion(over="route", limit_db=0.059))
    form = {"route_id": route.route_id, "criteria": criteria}
    path = f"/v1/projects/{route.project_id}/criteria/trial"
    trial = route.ask(ENGINEER, "POST", path, json=form)
    route.drain()
    result = route.ask(ENGINEER, "GET", f"/v1/trials/{trial['id']}")["result"]
    assert {one["code"]: one["counts"]["conforming"] for one in result["criteria"]} == {"SPLICE-1550": 6, "MEAN": 1}
    assert result["segments"][0]["outcome"] == "conforming"
