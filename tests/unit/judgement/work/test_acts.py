"""Each act played through: a finding asks for it, the record that does it is added, and it is asked for no more."""

from pathlib import Path
from typing import Any

import pytest

from service.vocabulary.findings.words import Act
from tests.factories import (
    Body,
    both_ways,
    continuity_criterion,
    cord_ended,
    make_attenuation,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_dispersion,
    make_end_face,
    make_otdr,
    make_return_loss,
    make_splice,
    return_loss_criterion,
    splice_criterion,
    statistic_criterion,
    stretched,
    with_events,
)
from tests.unit.judgement.judging import because, criteria_behind, where
from tests.unit.judgement.story import RETESTED, REWORKED, SIDES, Story, finished, opened_and_sealed

AFTER_SPLICE = "2025-03-04T08:00:00Z"
IDENTITY: Body = continuity_criterion()
RETURN_LOSS: Body = return_loss_criterion()


def test_a_splice_is_made_again_once() -> None:
    story = Story(splice_criterion()).add(*finished(*both_ways(losses_db={"C1": 0.2})))
    [item] = story.asked(Act.RE_SPLICE)
    assert (where(item), item["position"]) == ("C1", 1)
    story.add(make_splice(attempt=2, made_at=REWORKED), *opened_and_sealed("C1"))
    assert {item["act"] for item in story.work} == {"retest"}
    # What is left is that the pigtails' splices are read with their connectors, and no limit is agreed for both.
    assert {item["act"] for item in story.add(*both_ways(made_at=RETESTED)).work} == {"ask_engineer"}


@pytest.mark.parametrize(
    ("demand", "bad", "good", "said"),
    [
        ({"aspect": "cleave_angle", "limit_deg": 1.0}, {"cleave": 1.2}, {"cleave": 0.4}, "cleave and splice again"),
        ({"aspect": "proof_test"}, {"proof_test_passed": False}, {}, "did not pass its proof test"),
        ({"aspect": "fusion"}, {"method": "mechanical"}, {}, "splice again by fusion"),
        (
            {"aspect": "sleeve_length", "allowed_mm": [60.0]},
            {"sleeve_length_mm": 40.0},
            {"sleeve_length_mm": 60.0},
            "sleeve",
        ),
        (
            {"aspect": "certificate"},
            {"certified_until": "2025-01-31"},
            {"certified_until": "2026-01-31"},
            "whose certificate is valid",
        ),
    ],
    ids=lambda one: one.get("aspect") if isinstance(one, dict) else None,
)
def test_bad_workmanship_is_spliced_again(demand: Body, bad: Body, good: Body, said: str) -> None:
    criterion = {"code": "W", "quantity": "workmanship", "demand": demand, "at": "line_closures"}
    story = Story(criterion).add(made(bad))
    [item] = story.asked(Act.RE_SPLICE)
    assert (where(item), item["is_urgent"], criteria_behind(item)) == ("C1", True, ["W"])
    assert said in because(item)
    assert story.add(made(good, attempt=2, made_at=REWORKED)).asked(Act.RE_SPLICE) == []


def test_an_estimate_that_is_the_criterion_is_named_as_one_and_overrules_no_trace() -> None:
    by_estimate = splice_criterion(code="EST", basis="estimate", limit_db=0.06, one_way_action_limit_db=None)
    [item] = Story(by_estimate).add(make_splice(estimate_db=0.07)).asked(Act.RE_SPLICE)
    assert because(item).startswith("The splicer's estimate is 0.0700 dB, above the limit of 0.0600 dB")
    high = make_otdr(losses_db={"C1": 0.4}, made_at=AFTER_SPLICE)
    [item] = Story(by_estimate, splice_criterion()).add(make_splice(), high).asked(Act.RE_SPLICE)
    assert criteria_behind(item) == ["SPLICE-1550"]


def test_traces_are_not_held_against_the_limit_of_an_estimate() -> None:
    by_estimate = splice_criterion(code="EST", basis="estimate", limit_db=0.06)
    shown = both_ways(losses_db={"C1": 0.08}, made_at=AFTER_SPLICE)
    assert Story(by_estimate).add(make_splice(), *shown).asked(Act.RE_SPLICE) == []


def test_a_guarded_limit_is_named_with_its_guard_band() -> None:
    guarded = splice_criterion(decision="guarded", uncertainty_db=0.03)
    [item] = Story(guarded).add(*finished(*both_ways(losses_db={"C1": 0.09}))).asked(Act.RE_SPLICE)
    assert "is 0.0900 dB, above the limit of 0.1000 dB with a guard band of 0.0300 dB" in because(item)


MEAN: Body = statistic_criterion(over="span", limit_db=0.05)


def test_where_only_the_mean_of_a_span_is_too_high_its_worst_splice_is_made_again() -> None:
    design = cord_ended(fibres=1)
    story = Story(splice_criterion(), MEAN, design=design)
    story.add(*finished(*both_ways(losses_db={"C1": 0.03, "C2": 0.09}, design=design)))
    [item] = story.work
    assert (item["act"], where(item), item["position"], criteria_behind(item)) == ("re_splice", "C2", 1, ["MEAN"])
    assert because(item) == (
        "The mean loss of 2 joints together is 0.0600 dB, above the limit of 0.0500 dB, and this one loses most, "
        "0.0900 dB."
    )
    story.add(make_splice(site="C2", attempt=2, made_at=REWORKED), *opened_and_sealed("C2"))
    assert story.asked(Act.RE_SPLICE) == []
    assert story.add(*both_ways(losses_db={"C1": 0.03, "C2": 0.05}, design=design, made_at=RETESTED)).work == []


def test_a_splice_that_is_bad_by_itself_comes_before_what_is_wrong_of_all_together() -> None:
    design = cord_ended(fibres=1)
    story = Story(splice_criterion(), MEAN, design=design)
    story.add(*finished(*both_ways(losses_db={"C1": 0.2, "C2": 0.03}, design=design)))
    [item] = story.work
    assert criteria_behind(item) == ["SPLICE-1550"]


@pytest.mark.parametrize(("cleaned", "act"), [(False, Act.CLEAN_AND_INSPECT), (True, Act.RE_TERMINATE)])
def test_of_pairs_whose_share_within_the_limit_is_too_small_the_worst_is_worked_at(cleaned: bool, act: Act) -> None:
    design = cord_ended(fibres=1)
    share = {"statistic": "share_within", "least_share_percent": 97.0, "over": "fibre", "limit_db": 0.25}
    story = Story({**MEAN, "joint": "pair", "code": "SHARE", **share}, design=design)
    if cleaned:
        for side in SIDES:
            story.add(make_cleaning(site="B", side=side), make_end_face(site="B", side=side))
    story.add(*finished(*both_ways(losses_db={"A": 0.1, "B": 0.3}, design=design)))
    [item] = story.asked(act)
    assert (where(item), criteria_behind(item)) == ("B", ["SHARE"])
    assert "the share of 2 joints that keep their own limit is 50.0000 %" in because(item).lower()


def test_a_splice_that_reflects_is_made_again() -> None:
    criterion = {"code": "REFL", "quantity": "reflectance", "joint": "splice", "wavelength_nm": 1550, "limit_db": -60.0}
    at_c1 = {"kind": "reflective", "reflectance_db": -45.0}
    traces = [
        with_events(trace, lambda event: {**event, **at_c1} if event.get("loss_db") == 0.25 else event)
        for trace in both_ways(losses_db={"C1": 0.25})
    ]
    [item] = Story(criterion).add(*finished(*traces)).asked(Act.RE_SPLICE)
    assert (where(item), criteria_behind(item)) == ("C1", ["REFL"])
    assert "a fusion splice shows none" in because(item)


def test_one_attempt_too_many_is_not_undone_by_another() -> None:
    criterion = {"code": "W", "quantity": "workmanship", "demand": {"aspect": "attempts", "limit": 2}}
    story = Story(criterion).add(make_splice(attempt=3))
    assert story.asked(Act.RE_SPLICE) == []


def test_an_arc_that_was_not_calibrated_in_time_asks_for_a_new_splice() -> None:
    demand = {"aspect": "calibrated_splicer", "most_age_h": 8.0}
    criterion = {"code": "W", "quantity": "workmanship", "demand": demand}
    story = Story(criterion).add(make_calibration(made_at="2025-03-01T08:00:00Z"), make_splice())
    [item] = story.asked(Act.RE_SPLICE)
    assert "calibrate the arc here, then splice again" in because(item)
    story.add(make_calibration(made_at="2025-03-24T07:00:00Z"), make_splice(attempt=2, made_at=REWORKED))
    assert story.asked(Act.RE_SPLICE) == []


@pytest.mark.parametrize(
    ("made_so", "act", "done"),
    [
        ({"sleeve_shrunk": False}, Act.SHRINK_SLEEVE, make_splice(made_at=REWORKED)),
        ({}, Act.SEAL, make_closure_state()),
    ],
)
def test_a_sleeve_is_shrunk_and_a_finished_closure_sealed_once(made_so: Body, act: Act, done: Body) -> None:
    story = Story(splice_criterion()).add(make_splice(**made_so))
    assert len(story.asked(act)) == 1
    assert story.add(done).asked(act) == []


@pytest.mark.parametrize(
    ("criterion", "records"),
    [
        (RETURN_LOSS, [make_return_loss(), make_return_loss(from_site="B", to_site="A")]),
        (IDENTITY, [make_continuity()]),
        (
            {"code": "CD", "quantity": "chromatic_dispersion", "wavelength_nm": 1550, "limit_ps_per_nm": 60.0},
            [make_dispersion()],
        ),
        (
            {"code": "PMD", "quantity": "polarization_mode_dispersion", "wavelength_nm": 1550, "limit_ps": 0.5},
            [make_dispersion()],
        ),
        (splice_criterion(), both_ways()),
        (
            {"code": "OTDR", "quantity": "required_test", "test": "attenuation", "wavelength_nm": 1550},
            [make_attenuation(), make_attenuation(from_site="B", to_site="A")],
        ),
    ],
    ids=lambda one: one["quantity"] if isinstance(one, dict) else None,
)
def test_a_missing_test_is_asked_for_until_it_is_there(criterion: Body, records: list[Body]) -> None:
    story = Story(criterion).add(*finished())
    [item] = story.asked(Act.TEST)
    assert sum(len(asked["from_sites"]) for asked in item.get("tests", [])) == len(records)
    assert {item["act"] for item in story.add(*records).work} <= {"ask_engineer"}


@pytest.mark.parametrize(
    ("demand", "said"),
    [
        ({"aspect": "calibrated_splicer", "most_age_h": 24.0}, "post the calibration if there was one"),
        ({"aspect": "certificate"}, "replace the splice's record by one that states it"),
        ({"aspect": "cleave_length", "least_mm": 8.0, "most_mm": 16.0}, "No cleave length is stated"),
    ],
    ids=lambda one: one.get("aspect") if isinstance(one, dict) else None,
)
def test_what_the_records_do_not_say_is_asked_for_and_holds_nothing_up(demand: Body, said: str) -> None:
    criterion = {"code": "W", "quantity": "workmanship", "demand": demand, "at": "line_closures"}
    story = Story(criterion, splice_criterion()).add(make_splice())
    assert [item["act"] for item in story.work] == ["seal", "post_record"]
    assert said in because(story.work[1])
    complete: Body = {"certified_until": "2026-01-31", "cleave_length_mm": 10.0, "attempt": 2, "made_at": REWORKED}
    story.add(make_calibration(made_at="2025-03-24T07:30:00Z"), make_splice(**complete))
    assert story.asked(Act.POST_RECORD) == []


def test_a_splice_that_nobody_made_owes_no_record() -> None:
    criterion = {"code": "W", "quantity": "workmanship", "demand": {"aspect": "certificate"}}
    assert Story(criterion).work == []


def test_a_return_loss_known_only_as_a_bound_is_measured_again() -> None:
    ways: tuple[Body, ...] = ({}, {"from_site": "B", "to_site": "A"})
    story = Story(RETURN_LOSS).add(
        *finished(*(make_return_loss(return_loss_db=30.0, qualifier="gt", **way) for way in ways))
    )
    [item] = story.asked(Act.RETEST)
    assert "measure again with an instrument that reaches the limit" in because(item)
    assert story.add(*(make_return_loss(made_at=RETESTED, **way) for way in ways)).work == []


def test_a_return_loss_bounded_below_its_least_says_so() -> None:
    low = make_return_loss(return_loss_db=25.0, qualifier="lt")
    story = Story(RETURN_LOSS).add(*finished(low, make_return_loss(from_site="B", to_site="A")))
    [item] = story.asked(Act.CLEAN_AND_INSPECT)
    assert "is at most 25.0000 dB, below the least of 32.0000 dB" in because(item)


def test_a_length_far_from_the_design_is_looked_into() -> None:
    story = Story({"code": "LENGTH", "quantity": "length", "limit_percent": 0.1})
    long, right = (both_ways(made_at=at) for at in ("2025-03-20T08:00:00Z", RETESTED))
    # 12 m of 3000 m too much.
    too_long = [stretched(trace, by=1.004) for trace in long]
    [item] = story.add(*finished(*too_long)).asked(Act.RETEST)
    assert "check the group index" in because(item)
    assert story.add(*right).work == []


def test_every_act_has_its_story() -> None:
    told = "".join(path.read_text(encoding="utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    assert [act for act in Act if f"Act.{act.name}" not in told] == []


def made(how: Body, **changes: Any) -> Body:
    """Return a splice made in some way; `cleave` is the angle on both sides."""
    how = dict(how)
    cleave_deg = how.pop("cleave", None)
    joint: Body = {"fibre": 1, "estimate_db": 0.02}
    if cleave_deg is not None:
        joint |= {"cleave_left_deg": 0.3, "cleave_right_deg": cleave_deg}
    return make_splice(joints=[joint], **how, **changes)
