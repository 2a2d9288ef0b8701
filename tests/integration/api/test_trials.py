"""Trials of criteria: what an engineer learns of other limits without anybody's verdict being touched."""

from typing import Any
from uuid import uuid4

import pytest
from sqlmodel import col, select

from service.actions.access.audit import verify_chain
from service.actions.routes.trials import KEPT_TRIALS
from service.storage.session import snapshot, transaction
from service.storage.tables import AuditEntry, CriteriaTrial, Fibre, StandingVerdict
from service.vocabulary.words import TokenKind
from tests.factories import (
    both_ways,
    make_criteria,
    make_design,
    make_sections,
    on_other_cable,
    sealed,
    splice_criterion,
)
from tests.integration.api.acts import pointers, refusal
from tests.integration.trial_acts import ask, judge_two_fibres, read, tried, wider
from tests.world import World

ENGINEER, CONTRACTOR = TokenKind.ENGINEER, TokenKind.CONTRACTOR


@pytest.fixture
def judged(world: World) -> World:
    """Serve the factories' route with a fibre that conforms and one that does not."""
    return judge_two_fibres(world)


def everything_judged(world: World) -> tuple[Any, ...]:
    """Return the rows that a trial must leave alone."""
    with transaction(world.engine) as session:
        fibres = [row.model_dump() for row in session.exec(select(Fibre).order_by(col(Fibre.number)))]
        verdicts = [row.model_dump() for row in session.exec(select(StandingVerdict))]
    return world.status(), fibres, verdicts


def test_a_wider_limit_turns_the_one_fibre_that_stands_nonconforming(judged: World) -> None:
    result = tried(judged, wider(0.2))
    assert result["changes"] == [{"standing": "nonconforming", "tried": "conforming", "fibres": 1}]
    assert (result["fibres_compared"], result["fibres_changed"], result["fibres_not_judged"]) == (12, 1, 0)
    [splices] = [one for one in result["criteria"] if one["code"] == "SPLICE-1550"]
    # Two closures and two pigtails on each of twelve fibres, of which ten were never tested.
    assert splices["counts"] == {"conforming": 8, "nonconforming": 0, "undetermined": 40}
    assert (splices["quantity"], splices["force"]) == ("splice_loss", "required")


def test_a_stricter_limit_fails_every_splice_that_was_measured(judged: World) -> None:
    result = tried(judged, wider(0.03))
    assert result["changes"] == [{"standing": "conforming", "tried": "nonconforming", "fibres": 1}]
    [segment] = result["segments"]
    assert (segment["id"], segment["outcome"]) == ("SEG1", "nonconforming")
    assert segment["counts"]["nonconforming"] == 4
    assert segment["counts"]["nonconforming"] + segment["counts"]["conforming"] + segment["counts"][
        "undetermined"
    ] == sum(sum(one["counts"].values()) for one in result["criteria"])


def test_the_criteria_in_force_tried_give_the_standing_verdict_s_own_counts(judged: World) -> None:
    result = tried(judged, make_criteria())
    status = judged.status()
    assert (result["changes"], result["fibres_changed"]) == ([], 0)
    assert [one["counts"] for one in result["segments"]] == [one["counts"] for one in status["segments"]]
    assert result["standing_digest"] == status["verdict_digest"]


def test_a_trial_leaves_every_verdict_fibre_and_version_as_it_was(judged: World) -> None:
    before = everything_judged(judged)
    tried(judged, wider(0.03))
    assert everything_judged(judged) == before


def test_a_wavelength_that_was_never_measured_is_undetermined_everywhere(judged: World) -> None:
    result = tried(judged, make_criteria(criteria=[splice_criterion(code="SPLICE-1625", wavelength_nm=1625)]))
    assert result["criteria"][0]["counts"] == {"conforming": 0, "nonconforming": 0, "undetermined": 48}
    assert result["changes"] == [
        {"standing": "conforming", "tried": "undetermined", "fibres": 1},
        {"standing": "nonconforming", "tried": "undetermined", "fibres": 1},
    ]


def test_a_trial_reports_what_the_fibre_alone_does_not_allow(judged: World) -> None:
    beyond = {"code": "RL-1310", "quantity": "return_loss", "wavelength_nm": 1310, "limit_db": 60.0}
    result = tried(judged, make_criteria(criteria=[beyond]))
    assert [(one["criteria"], one["severity"]) for one in result["reports"]] == [(["RL-1310"], "unmeetable")]


def test_a_trial_is_audited_and_the_chain_holds(judged: World) -> None:
    answer = ask(judged, wider())
    judged.drain()
    with snapshot(judged.engine) as session:
        entries = [row.entry for row in session.exec(select(AuditEntry).order_by(col(AuditEntry.sequence)))]
        assert verify_chain(session, next(iter(session.exec(select(AuditEntry.project_id))))) is None
    assert "criteria.tried" in entries[-1]
    assert answer.json()["id"] in entries[-1]
    assert answer.json()["criteria_sha256"] in entries[-1]


def test_the_same_asked_again_while_it_goes_on_is_one_trial(judged: World) -> None:
    first, again = ask(judged, wider()), ask(judged, wider())
    assert (first.status_code, again.status_code) == (202, 202)
    assert first.headers["Location"] == again.headers["Location"]
    assert first.json()["state"] == "due"
    problem = refusal(ask(judged, wider(0.3)), 409)
    assert "goes on" in problem["detail"]
    judged.drain()
    assert ask(judged, wider()).headers["Location"] != first.headers["Location"]


def test_a_route_of_nobody_or_of_another_project_is_refused_by_name(judged: World) -> None:
    project = {"code": "TFN-2026-9", "name": "Reedmere", "owner": "Reedmere Trust", "contractor": "Sorrel Cable"}
    other = judged.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/projects", json=project)["id"]
    form = {"kind": "engineer", "projects": [other, judged.project_id]}
    token = judged.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    body = {"route_id": judged.route_id, "criteria": wider()}
    answer = judged.http.post(
        f"/v1/projects/{other}/criteria/trial", json=body, headers={"Authorization": f"Bearer {token}"}
    )
    assert pointers(refusal(answer, 422)) == ["/route_id"]
    assert pointers(refusal(ask(judged, wider(), route_id=str(uuid4())), 422)) == ["/route_id"]
    with transaction(judged.engine) as session:
        assert session.exec(select(CriteriaTrial)).all() == []


def test_criteria_that_are_not_criteria_are_refused_with_pointers_into_the_document(judged: World) -> None:
    problem = refusal(ask(judged, make_criteria(criteria=[splice_criterion(limit_db=-1.0)])), 422)
    assert any(one.startswith("/criteria/criteria/0/") for one in pointers(problem))


def test_only_the_newest_trials_keep_their_result(judged: World) -> None:
    answers = []
    for number in range(KEPT_TRIALS + 2):
        answers.append(ask(judged, wider(round(0.2 + number / 1000, 3))))
        judged.drain()
    found = [read(judged, answer) for answer in answers]
    assert [one["state"] for one in found] == ["ended"] * 2 + ["done"] * KEPT_TRIALS
    assert [one["result"] is None for one in found] == [True] * 2 + [False] * KEPT_TRIALS
    with transaction(judged.engine) as session:
        assert [row.criteria for row in session.exec(select(CriteriaTrial).where(CriteriaTrial.state == "ended"))] == [
            None,
            None,
        ]


def built_40_m_off(world: World, *, fibres: int = 4) -> None:
    """Record fibres of which all show their closures 40 m farther out than the design has them."""
    built = make_design(sections=make_sections([1040.0, 1000.0, 960.0]))
    tests = [record for fibre in range(1, fibres + 1) for record in both_ways(design=built, fibre=fibre)]
    world.record([*sealed(), *tests])


def splices_in(result: Any) -> Any:
    return next(one["counts"] for one in result["criteria"] if one["code"] == "SPLICE-1550")


def test_a_trial_finds_the_joints_by_the_criteria_that_are_tried(world: World) -> None:
    built_40_m_off(world)
    near = make_criteria(placing={"off_spot_m": 20.0})
    # By the criteria in force the cable's fibres show where its closures are; where so much is not allowed they do not.
    assert splices_in(tried(world, make_criteria()))["conforming"] == 16
    assert splices_in(tried(world, near))["conforming"] < 16


def test_a_route_without_criteria_is_tried_with_nothing_to_compare(judged: World) -> None:
    path = f"/v1/projects/{judged.project_id}/routes"
    route_id = judged.ask(CONTRACTOR, "POST", path, json=on_other_cable(make_design(), "R2"))["id"]
    answer = ask(judged, wider(), route_id=route_id)
    judged.drain()
    result = read(judged, answer)["result"]
    assert (result["standing_digest"], result["fibres_compared"], result["changes"]) == (None, 0, [])
