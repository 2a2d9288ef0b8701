"""Which records count, and the reason that is given for those that do not."""

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_closure_state,
    make_criteria,
    make_design,
    make_otdr,
    make_splice,
    sealed,
    spliced,
    stored,
)
from tests.unit.judgement.judging import finding_of, judge, splice_at_c1
from worker.judgement.history.evidence import Evidence

BEFORE_SEALING = "2025-03-05T08:00:00Z"
AFTER_TEST = "2025-03-25T08:00:00Z"


def without_sealing() -> Body:
    """Return criteria that do not ask for tests after sealing."""
    return make_criteria(final_after_sealing=False)


def test_a_trace_after_sealing_is_final() -> None:
    assert splice_at_c1([*sealed(), *both_ways()])["outcome"] == "conforming"


@pytest.mark.parametrize(
    ("lids", "reason"),
    [
        ([], "sealing_not_recorded"),
        ([make_closure_state(state="opened")], "closure_open"),
        ([make_closure_state(), make_closure_state(state="opened", made_at=AFTER_TEST)], "closure_open"),
        ([make_closure_state(), make_closure_state(made_at=AFTER_TEST)], "opening_not_recorded"),
        ([make_closure_state(made_at="2025-03-20T08:00:00Z")], "before_sealing"),
        ([make_closure_state(made_at="2025-03-20T07:59:59.999999Z")], None),
    ],
)
def test_a_trace_counts_only_after_its_closure_was_last_sealed(lids: list[Body], reason: str | None) -> None:
    finding = splice_at_c1([*lids, make_closure_state(site="C2"), *both_ways()])
    assert finding.get("reason") == reason
    assert {void["reason"] for void in finding["void"]} == ({reason} if reason else set())


def test_one_open_closure_leaves_the_others_joints_final() -> None:
    judgement = judge([make_closure_state(site="C1"), *both_ways()])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "conforming"
    assert finding_of(judgement, "SPLICE-1550", site="C2")["reason"] == "sealing_not_recorded"
    assert finding_of(judgement, "OTDR-1550")["reason"] == "sealing_not_recorded"


@pytest.mark.parametrize(
    ("last_uncut", "lids", "reason"),
    [
        (12, [], None),
        (11, [], "sealing_not_recorded"),
        (12, [make_closure_state(site="C2", state="opened")], "closure_open"),
        (12, [make_closure_state(site="C2", made_at=AFTER_TEST)], "before_sealing"),
    ],
)
def test_a_closure_in_which_no_fibre_is_cut_needs_no_sealing_until_somebody_opens_it(
    last_uncut: int, lids: list[Body], reason: str | None
) -> None:
    uncut = {"site": "C2", "fibres": {"first": 1, "last": last_uncut}, "action": "uncut"}
    design = make_design(splice_plan=[uncut])
    judgement = judge([make_closure_state(), *both_ways(losses_db={"C1": 0.03}), *lids], design=design)
    assert finding_of(judgement, "OTDR-1550").get("reason") == reason


def test_sealing_is_not_asked_for_where_the_criteria_say_so() -> None:
    assert splice_at_c1(both_ways(), criteria=without_sealing())["outcome"] == "conforming"


def test_terminals_have_no_sealing_and_count_after_the_last_work() -> None:
    judgement = judge(both_ways())
    assert finding_of(judgement, "TERM-1550", site="A")["outcome"] == "conforming"
    judgement = judge([*both_ways(), make_splice(site="A", made_at=AFTER_TEST)])
    assert finding_of(judgement, "TERM-1550", site="A")["reason"] == "before_rework"


def test_a_splice_of_the_fibre_voids_its_earlier_tests() -> None:
    finding = splice_at_c1([*sealed(), *both_ways(), make_splice(site="C2", made_at=AFTER_TEST)])
    assert finding["reason"] == "before_rework"
    assert [void["reason"] for void in finding["void"]] == ["before_rework", "before_rework"]


def test_a_ribbon_spliced_again_voids_the_tests_of_all_its_fibres() -> None:
    ribbon = make_splice(site="C2", fibres=range(1, 5), made_at=AFTER_TEST)
    assert splice_at_c1([*sealed(), *both_ways(), ribbon])["reason"] == "before_rework"


@pytest.mark.parametrize(
    ("voids", "site", "outcome"),
    [
        ("fibre", "C2", "conforming"),
        ("closure", "C2", "undetermined"),
        # A terminal is no closure: another fibre's pigtail there disturbs nobody.
        ("closure", "A", "conforming"),
    ],
)
def test_another_fibres_splice_voids_only_where_the_criteria_void_by_closure(
    voids: str, site: str, outcome: str
) -> None:
    other = make_splice(site=site, fibres=[7], made_at=AFTER_TEST)
    criteria = make_criteria(rework_voids=voids)
    assert splice_at_c1([*sealed(), *both_ways(), other], criteria=criteria)["outcome"] == outcome


@pytest.mark.parametrize(("day", "reason"), [("2025-03-20", None), ("2025-03-19", "calibration_run_out")])
def test_calibration_holds_to_the_end_of_its_last_day(day: str, reason: str | None) -> None:
    assert splice_at_c1([*sealed(), *both_ways(calibrated_until=day)]).get("reason") == reason


def test_a_withdrawn_trace_is_shown_and_does_not_count() -> None:
    forward, backward = both_ways()
    finding = splice_at_c1([*sealed(), stored(forward, is_ended=True), backward])
    assert finding["reason"] == "one_direction_only"
    assert finding["void"] == [{"record": forward["id"], "reason": "replaced_or_withdrawn"}]


def test_a_withdrawn_sealing_was_never_made() -> None:
    withdrawn = stored(make_closure_state(), is_ended=True)
    assert splice_at_c1([withdrawn, make_closure_state(site="C2"), *both_ways()])["reason"] == "sealing_not_recorded"


def test_the_latest_of_several_readings_counts_whatever_came_first() -> None:
    later = make_otdr(made_at=AFTER_TEST, losses_db={"C1": 0.08})
    for order in ([*both_ways(), later], [later, *both_ways()]):
        assert splice_at_c1([*sealed(), *order])["value"] == "0.0600"


def test_of_two_readings_at_one_instant_the_greater_id_counts() -> None:
    low, high = (
        make_otdr(id=f"00000000-0000-4000-8000-00000000000{digit}", losses_db={"C1": loss_db})
        for digit, loss_db in ((1, 0.02), (2, 0.08))
    )
    backward = make_otdr(from_site="B", to_site="A")
    assert splice_at_c1([*sealed(), high, low, backward])["value"] == "0.0600"


def test_a_void_reading_does_not_hide_an_earlier_one_that_counts() -> None:
    later = make_otdr(made_at=AFTER_TEST, losses_db={"C1": 0.3}, calibrated_until="2025-01-01")
    assert splice_at_c1([*sealed(), *both_ways(), later])["value"] == "0.0400"


def test_records_of_other_fibres_and_sites_are_passed_over() -> None:
    others = [make_otdr(fibre=2, losses_db={"C1": 3.0}), make_closure_state(site="ELSEWHERE", state="opened")]
    assert splice_at_c1([*sealed(), *both_ways(), *others])["value"] == "0.0400"


def flagged(body: Body) -> Evidence:
    """Return a record whose batch came with a wrong clock."""
    return stored(body, clock_is_flagged=True)


def test_a_wrong_clock_does_not_order_work_and_test_of_two_devices() -> None:
    forward, backward = both_ways()
    finding = splice_at_c1([*sealed(), flagged(forward), backward])
    assert finding["reason"] == "order_not_proven"


def test_a_wrong_clock_orders_what_it_stamped_itself() -> None:
    lids = [flagged(lid) for lid in sealed(device="one-device")]
    tests = [flagged(test) for test in both_ways(device="one-device")]
    assert splice_at_c1([*lids, *tests])["outcome"] == "conforming"


def test_a_wrong_clock_does_not_hide_rework_that_is_provably_later() -> None:
    forward, backward = both_ways()
    rework = make_splice(site="C1", made_at=AFTER_TEST)
    early = flagged(make_splice(site="C2", device="tablet-9"))
    finding = splice_at_c1([*sealed(), forward, backward, rework, early])
    assert finding["reason"] == "before_rework"


def test_a_lid_opened_by_a_wrong_clock_is_not_proven_shut() -> None:
    opened = flagged(make_closure_state(state="opened", made_at=BEFORE_SEALING, device="tablet-9"))
    finding = splice_at_c1([*sealed(), opened, *both_ways()])
    assert finding["reason"] == "order_not_proven"


def test_two_readings_whose_order_is_not_proven_do_not_count() -> None:
    other = flagged(make_otdr(made_at=AFTER_TEST, device="otdr-app-9"))
    lids = sealed()
    finding = splice_at_c1([*lids, *both_ways(), other], criteria=without_sealing())
    assert finding["reason"] == "order_not_proven"


def test_a_wrong_clock_that_decides_nothing_does_no_harm() -> None:
    # No work and no lid on this fibre is older or newer than the traces: there is nothing to put in order.
    forward, backward = both_ways()
    finding = splice_at_c1([flagged(forward), backward], criteria=without_sealing())
    assert finding["outcome"] == "conforming"


def test_the_first_splices_void_nothing_made_after_them() -> None:
    assert splice_at_c1([*spliced(), *sealed(), *both_ways()])["outcome"] == "conforming"


def partly(*, at: str = "C2") -> list[Body]:
    """Return C1 sealed and fibre 1 tested from A to the bare fibre in another closure, and back."""
    there = make_otdr(to_site=at, receive_m=0)
    back = make_otdr(from_site=at, to_site="A", launch_m=0)
    return [make_closure_state(), there, back]


@pytest.mark.parametrize(
    ("later", "reason"),
    [
        ([], None),
        # Where a test ends in a closure its lid is off, and what is spliced there or behind it is other work.
        ([make_closure_state(site="C2", state="opened", made_at=AFTER_TEST)], None),
        ([make_splice(site="C2", made_at=AFTER_TEST)], None),
        ([make_splice(site="B", made_at=AFTER_TEST)], None),
        ([stored(make_splice(site="C2", made_at=AFTER_TEST), is_ended=True)], None),
        # A splice or a lid between its ends, or at the terminal that it begins at, is what it ran through.
        ([make_splice(site="C1", made_at=AFTER_TEST)], "before_rework"),
        ([make_splice(site="A", made_at=AFTER_TEST)], "before_rework"),
        ([stored(make_splice(site="C1", made_at=AFTER_TEST), is_ended=True)], "withdrawn_work"),
        ([make_closure_state(site="C1", state="opened", made_at=AFTER_TEST)], "closure_open"),
    ],
)
def test_work_voids_the_tests_that_run_through_it_and_no_others(
    later: list[Body | Evidence], reason: str | None
) -> None:
    assert splice_at_c1([*partly(), *later]).get("reason") == reason


def test_work_by_a_wrong_clock_leaves_no_doubt_about_a_test_that_ends_before_it() -> None:
    behind = stored(make_splice(site="B", made_at=AFTER_TEST), clock_is_flagged=True)
    within = stored(make_splice(site="C1", made_at=AFTER_TEST), clock_is_flagged=True)
    assert splice_at_c1([*partly(), behind]).get("reason") is None
    assert splice_at_c1([*partly(), within])["reason"] == "order_not_proven"


def test_a_test_from_an_open_closure_proves_what_lies_behind_it() -> None:
    finding = splice_at_c1(partly())
    assert finding["outcome"] == "conforming"
    assert finding_of(judge(partly()), "SPLICE-1550", site="C2")["reason"] == "no_evidence"
