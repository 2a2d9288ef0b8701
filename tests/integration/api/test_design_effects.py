"""A design can be tried dry: what it would unsettle is told, and a trial judges by it, with nothing changed."""

from typing import Any

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import (
    both_ways,
    finished_fibre,
    make_design,
    make_sections,
    make_segment,
    on_other_cable,
    sealed,
)
from tests.integration.api.acts import decide, pointers, refusal
from tests.integration.api.design_acts import (
    CONTRACTOR,
    ENGINEER,
    agree,
    effects_of,
    longer,
    refuse,
    revision_of,
    without_c1,
)
from tests.integration.faults.acts import finished_route
from tests.integration.trial_acts import judge_two_fibres, read
from tests.world import World, propose_design

# What judging, agreeing and billing go by.
TABLES = ("route", "design_revision", "design_reply", "site", "route_site", "fibre", "job", "standing_verdict")


@pytest.fixture
def judged(world: World) -> World:
    """Serve the factories' route with a fibre that conforms and one that does not, for a splice at C1."""
    return judge_two_fibres(world)


def rows(world: World, *tables: str) -> list[Any]:
    with world.engine.connect() as connection:
        return [
            connection.exec_driver_sql(f"SELECT t::text FROM {table} t ORDER BY 1").scalars().all() for table in tables
        ]


def try_revision(world: World, revision: int, kind: TokenKind = ENGINEER) -> Any:
    path = f"/v1/routes/{world.route_id}/design/trial"
    return world.call(kind, "POST", path, json={"revision": revision})


def tried(world: World, revision: int) -> Any:
    answer = try_revision(world, revision)
    world.drain()
    trial = read(world, answer)
    assert trial["state"] == "done", trial
    return trial["result"]


def test_a_dry_proposal_stores_nothing(judged: World) -> None:
    before = rows(judged, *TABLES, "audit_entry")
    effects_of(judged, longer())
    effects_of(judged, without_c1())
    assert (judged.drain(), rows(judged, *TABLES, "audit_entry")) == (0, before)


def test_the_design_in_force_unsettles_nothing(world: World) -> None:
    effects = effects_of(world, make_design())
    [segment] = effects.pop("segments")
    assert effects == {
        "fibres_judged_again": 0,
        "fibres_joined_otherwise": [],
        "sites_added": [],
        "sites_gone": [],
        "records_at_sites_gone": [],
        "other_routes": [],
    }
    assert (segment["is_paid_otherwise"], segment["before"]) == (False, segment["after"])


def test_a_longer_section_is_paid_otherwise(world: World) -> None:
    effects = effects_of(world, longer(1500.25))
    [segment] = effects["segments"]
    # Three kilometres of cable, 500.25 m more; twelve fibres, no slack and no excess.
    assert (segment["before"]["cable_length_m"], segment["after"]["cable_length_m"]) == ("3000.00", "3500.25")
    assert (segment["before"]["fibre_length_m"], segment["after"]["fibre_length_m"]) == ("36000.00", "42003.00")
    assert (segment["is_paid_otherwise"], segment["status"]) == (True, "in_progress")
    assert (effects["fibres_judged_again"], effects["fibres_joined_otherwise"]) == (12, [])


def test_a_segment_that_goes_and_one_that_comes_are_both_told(world: World) -> None:
    design = make_design()
    design["segments"] = [make_segment("SEG2", sites=["A", "C1", "C2", "B"], sections=["S1", "S2", "S3"])]
    gone, new = effects_of(world, design)["segments"]
    assert (gone["id"], gone["status"], gone["after"]) == ("SEG1", "in_progress", None)
    assert (new["id"], new["status"], new["before"]) == ("SEG2", None, None)
    assert gone["before"] == new["after"]


def test_fibres_that_are_joined_otherwise_are_named(world: World) -> None:
    uncut = {"site": "C1", "fibres": {"first": 2, "last": 4}, "action": "uncut"}
    swapped = [
        {"site": "C2", "fibres": {"first": 9, "last": 9}, "action": "spliced", "to_cable_fibre": 11},
        {"site": "C2", "fibres": {"first": 11, "last": 11}, "action": "spliced", "to_cable_fibre": 9},
    ]
    effects = effects_of(world, make_design(splice_plan=[uncut, *swapped]))
    assert effects["fibres_joined_otherwise"] == [
        {"first": 2, "last": 4},
        {"first": 9, "last": 9},
        {"first": 11, "last": 11},
    ]
    [segment] = effects["segments"]
    # Two closures and two pigtails on each of twelve fibres; three are not cut at one.
    assert (segment["before"]["splices"], segment["after"]["splices"]) == (48, 45)


def test_a_site_that_goes_is_told_with_the_records_that_name_it(world: World) -> None:
    world.record(finished_fibre())
    effects = effects_of(world, without_c1())
    # One splice and one sealing.
    assert (effects["sites_gone"], effects["records_at_sites_gone"]) == (["C1"], [{"site": "C1", "records": 2}])
    assert effects["fibres_joined_otherwise"] == [{"first": 1, "last": 12}]
    ended = make_design()
    ended["sites"][3]["id"] = "B2"
    ended["segments"][0]["sites"][3] = "B2"
    effects = effects_of(world, ended)
    # The splice there, a trace each way and a loss each way.
    assert (effects["sites_gone"], effects["sites_added"]) == (["B"], ["B2"])
    assert effects["records_at_sites_gone"] == [{"site": "B", "records": 5}]


def test_an_accepted_segment_is_told_as_accepted(world: World) -> None:
    world.record(finished_route())
    assert world.submit().status_code == 202
    world.drain()
    assert decide(world, segments={"SEG1": "accepted"}).is_success
    [segment] = effects_of(world, longer())["segments"]
    assert (segment["status"], segment["is_paid_otherwise"]) == ("accepted", True)


def test_who_is_to_agree_reads_the_same_effects(world: World) -> None:
    effects = effects_of(world, longer())
    propose_design(world, longer())
    assert revision_of(world, 2)["effects"] == effects
    refuse(world, 2)
    assert revision_of(world, 2)["effects"] is None


def test_what_is_no_revision_of_the_route_is_refused_dry_too(world: World) -> None:
    path = f"/v1/routes/{world.route_id}/design/effects"
    for changes, pointer in (({"fibre_count": 24}, "/fibre_count"), ({"code": "R7"}, "/code")):
        answer = world.call(CONTRACTOR, "POST", path, json=make_design(**changes))
        assert pointers(refusal(answer, 422)) == [pointer]


def test_a_trial_of_a_revision_judges_by_it_and_changes_nothing(judged: World) -> None:
    propose_design(judged, without_c1())
    before = rows(judged, *(one for one in TABLES if one != "job"))
    result = tried(judged, 2)
    # The splice at C1 was all that was wrong with fibre 2; with fibre 1 nothing was.
    assert result["fibres_compared"] == 12
    [segment] = result["segments"]
    assert segment["counts"]["nonconforming"] == 0
    [splices] = [one for one in result["criteria"] if one["code"] == "SPLICE-1550"]
    assert sum(splices["counts"].values()) == 36
    assert rows(judged, *(one for one in TABLES if one != "job")) == before


def test_the_revision_in_force_tried_gives_the_standing_counts(judged: World) -> None:
    result = tried(judged, 1)
    assert (result["changes"], result["fibres_changed"]) == ([], 0)
    assert [one["counts"] for one in result["segments"]] == [one["counts"] for one in judged.status()["segments"]]


def test_a_trial_says_what_agreeing_then_gives(judged: World) -> None:
    propose_design(judged, without_c1())
    result = tried(judged, 2)
    assert agree(judged, 2).is_success
    judged.drain()
    assert [one["counts"] for one in judged.status()["segments"]] == [one["counts"] for one in result["segments"]]


def test_a_trial_of_a_design_finds_the_joints_by_it(world: World) -> None:
    # Agreed as built, and proposed 39 m shorter: the cable's fibres show where the closures are by either.
    propose_design(world, longer(1040.0))
    agree(world, 2)
    built = longer(1040.0)
    tests = [record for fibre in (1, 2, 3, 4) for record in both_ways(design=built, fibre=fibre)]
    world.record([*sealed(), *tests])
    propose_design(world, make_design(sections=make_sections([1001.0, 1000.0, 1039.0])))
    [splices] = [one for one in tried(world, 3)["criteria"] if one["code"] == "SPLICE-1550"]
    assert splices["counts"]["conforming"] == 16


def test_the_contractor_tries_its_own_and_one_trial_goes_on_at_a_time(judged: World) -> None:
    propose_design(judged, longer())
    first, again = try_revision(judged, 2, CONTRACTOR), try_revision(judged, 2)
    assert first.headers["Location"] == again.headers["Location"]
    assert "goes on" in refusal(try_revision(judged, 1), 409)["detail"]


def test_without_criteria_there_is_nothing_to_try_a_design_by(world: World) -> None:
    path = f"/v1/projects/{world.project_id}/routes"
    world.route_id = world.ask(CONTRACTOR, "POST", path, json=on_other_cable(make_design(), "R2"))["id"]
    assert "no criteria" in refusal(try_revision(world, 1), 409)["detail"]
