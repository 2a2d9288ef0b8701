"""The work list: one item per act and place, each with what a crew needs to know."""

from typing import Any

import pytest

from service.vocabulary.findings.words import Reason
from tests.factories import (
    Body,
    both_ways,
    finished_fibre,
    make_attenuation,
    make_closure_state,
    make_criteria,
    make_otdr,
    make_site,
    make_splice,
    make_terminal,
    only,
    sealed,
    splice_criterion,
    spliced,
    with_site,
)
from tests.unit.judgement.judging import because, criteria_behind, judge, only_item, records_behind, where, work_of
from worker.judgement.words import REASON_LABELS

AFTER_SPLICE = "2025-03-04T08:00:00Z"
LATER = "2025-03-05T08:00:00Z"
AFTER_TEST = "2025-03-25T08:00:00Z"
RETESTED = "2025-03-30T08:00:00Z"


def interim(loss_db: float | None, **changes: Any) -> Body:
    """Return a trace taken the day after splicing, with its loss at C1."""
    return make_otdr(losses_db={"C1": loss_db}, **{"made_at": AFTER_SPLICE, **changes})


def test_a_finished_fibre_has_nothing_left_to_do() -> None:
    assert judge(finished_fibre()).document["work"] == []


def test_an_untouched_fibre_is_spliced_sealed_and_tested_in_that_order() -> None:
    work = judge([]).document["work"]
    assert [(item["act"], where(item), item["is_ready"]) for item in work] == [
        ("splice", "A", True),
        ("splice", "C1-C2", True),
        ("seal", "C1-C2", False),
        ("splice", "B", True),
        ("test", "A-B", False),
    ]
    assert work[-1].get("tests") == [
        {"test": "otdr", "wavelengths_nm": [1550], "from_sites": ["A", "B"]},
        {"test": "attenuation", "wavelengths_nm": [1550], "from_sites": ["A", "B"]},
    ]


@pytest.mark.parametrize(
    ("estimate_db", "interim_db", "act"),
    [(0.05, 0.3, "seal"), (0.051, 0.3, "re_splice"), (0.05, 0.301, "re_splice")],
)
def test_an_estimate_or_an_interim_one_way_loss_above_its_action_limit_asks_for_a_new_splice(
    estimate_db: float, interim_db: float, act: str
) -> None:
    splice = make_splice(estimate_db=estimate_db)
    assert work_of(judge([splice, interim(interim_db)])) == [(act, "C1")]


def test_an_item_says_why_and_where() -> None:
    splice = make_splice(estimate_db=0.08, fibres=[3])
    item = only_item(judge([splice], fibre=3))
    assert because(item) == "The estimate of 0.080 dB is above the action limit of 0.050 dB."
    assert (where(item), item.get("position"), item["is_urgent"], item["opens"]) == ("C1", 1, True, False)
    assert (criteria_behind(item), records_behind(item)) == (["SPLICE-1550"], [splice["id"]])


def test_fibres_that_are_alike_are_asked_for_in_the_same_bytes() -> None:
    assert judge([], fibre=1).document["work"] == judge([], fibre=2).document["work"]


def test_a_second_attempt_replaces_the_first() -> None:
    again = make_splice(made_at=AFTER_SPLICE, attempt=2)
    assert work_of(judge([make_splice(estimate_db=0.08), again])) == [("seal", "C1")]
    worse = make_splice(made_at=AFTER_SPLICE, attempt=2, estimate_db=0.08)
    assert work_of(judge([make_splice(), worse])) == [("re_splice", "C1")]


def test_a_closure_that_is_sealed_is_no_longer_urgent() -> None:
    bodies = [make_splice(estimate_db=0.08), make_closure_state()]
    assert only_item(judge(bodies))["is_urgent"] is False
    reopened = [*bodies, make_closure_state(state="opened", made_at=AFTER_TEST)]
    assert only_item(judge(reopened))["is_urgent"] is True


def test_both_directions_together_say_more_than_one_alone() -> None:
    good = interim(-0.25, from_site="B", to_site="A")
    assert work_of(judge([make_splice(), interim(0.35), good])) == [("seal", "C1")]
    bad = interim(0.05, from_site="B", to_site="A")
    item = only_item(judge([make_splice(), interim(0.25), bad]))
    assert because(item) == "The mean of both directions at 1550 nm is 0.1500 dB, above the limit of 0.100 dB."


@pytest.mark.parametrize(
    ("one_way_db", "back_db", "said"),
    [
        (0.25, 0.05, None),
        (0.301, None, "The one-way loss of 0.301 dB (A to B, 1550 nm) is above the limit of 0.300 dB."),
        (0.25, 0.301, "The one-way loss of 0.301 dB (B to A, 1550 nm) is above the limit of 0.300 dB."),
        (0.25, None, None),
    ],
)
def test_where_a_contract_holds_each_direction_alone_the_interim_ones_are_too(
    one_way_db: float, back_db: float | None, said: str | None
) -> None:
    criteria = only(
        splice_criterion(tested_from="either", combination="worse", limit_db=0.3, one_way_action_limit_db=None)
    )
    bodies = [make_splice(), interim(one_way_db)]
    if back_db is not None:
        bodies.append(interim(back_db, from_site="B", to_site="A"))
    item = only_item(judge(bodies, criteria=criteria))
    assert item["act"] == ("seal" if said is None else "re_splice")
    assert said in {None, because(item)}


@pytest.mark.parametrize(
    ("asked", "losses_db", "act"),
    [
        ({"tested_from": "either", "one_way_limit_db": 0.3}, (0.3, None), "seal"),
        ({"tested_from": "either", "one_way_limit_db": 0.3}, (0.301, None), "re_splice"),
        # Both are there, and their mean is what counts at the end.
        ({"tested_from": "either", "one_way_limit_db": 0.3}, (0.301, -0.001), "seal"),
        ({"tested_from": "either", "one_way_limit_db": 0.3}, (0.2, 0.101), "re_splice"),
        ({"tested_from": "a"}, (0.15, 0.9), "seal"),
        ({"tested_from": "a"}, (0.151, 0.0), "re_splice"),
        ({"tested_from": "b"}, (0.9, 0.15), "seal"),
        ({"combination": "worse"}, (0.15, 0.15), "seal"),
        ({"combination": "worse"}, (0.0, 0.151), "re_splice"),
        ({"combination": "worse"}, (0.9, None), "seal"),
    ],
)
def test_interim_readings_are_held_as_the_final_ones_will_be(
    asked: Body, losses_db: tuple[float, float | None], act: str
) -> None:
    criteria = only(splice_criterion(limit_db=0.15, one_way_action_limit_db=None, **asked))
    ahead, back = losses_db
    behind = [] if back is None else [interim(back, from_site="B", to_site="A")]
    assert only_item(judge([make_splice(), interim(ahead), *behind], criteria=criteria))["act"] == act


@pytest.mark.parametrize(("attempts", "act"), [(2, "re_splice"), (3, "seal")])
@pytest.mark.parametrize("shown", ["estimate", "one_way", "mean"])
def test_after_enough_attempts_nothing_is_asked_for_that_the_fallback_accepts(
    shown: str, attempts: int, act: str
) -> None:
    fallback = {"attempts": 3, "limit_db": 0.2}
    criteria = only(splice_criterion(one_way_action_limit_db=0.15, fallback=fallback))
    estimate_db = 0.2 if shown == "estimate" else 0.02
    bodies = [
        make_splice(attempt=number, made_at=f"2025-03-03T0{number}:00:00Z", estimate_db=estimate_db)
        for number in range(1, attempts + 1)
    ]
    if shown != "estimate":
        bodies.append(interim(0.2))
    if shown == "mean":
        bodies.append(interim(0.2, from_site="B", to_site="A"))
    assert work_of(judge(bodies, criteria=criteria)) == [(act, "C1")]


def test_beyond_the_fallback_a_new_splice_is_asked_for_however_often_it_was_made() -> None:
    criteria = only(splice_criterion(fallback={"attempts": 2, "limit_db": 0.2}))
    tried = [make_splice(attempt=n, made_at=f"2025-03-03T0{n}:00:00Z", estimate_db=0.201) for n in (1, 2, 3)]
    item = only_item(judge(tried, criteria=criteria))
    assert because(item) == "The estimate of 0.201 dB is above the action limit of 0.200 dB."


def test_a_new_splice_without_newer_evidence_removes_the_item() -> None:
    again = make_splice(made_at=LATER, attempt=2)
    assert work_of(judge([make_splice(), interim(0.4), again])) == [("seal", "C1")]


def test_a_splice_elsewhere_does_not_remove_the_item() -> None:
    elsewhere = make_splice(site="C2", made_at=LATER)
    assert ("re_splice", "C1") in work_of(judge([make_splice(), interim(0.4), elsewhere]))


def test_a_final_reading_that_conforms_overrules_the_estimate() -> None:
    bodies = [body for body in finished_fibre() if (body["kind"], body.get("site")) != ("splice", "C1")]
    assert work_of(judge([*bodies, make_splice(estimate_db=0.09)])) == []


def test_a_final_loss_above_the_limit_asks_for_a_new_splice_until_it_is_made() -> None:
    bodies = [*spliced(), *sealed()]
    tests = both_ways(losses_db={"C1": 0.2})
    item = only_item(judge([*bodies, *tests]))
    assert (item["act"], where(item), item["is_urgent"]) == ("re_splice", "C1", False)
    assert "0.2000 dB" in because(item)
    assert records_behind(item) == [test["id"] for test in tests]
    again = [make_closure_state(state="opened", made_at=AFTER_TEST), make_splice(made_at=AFTER_TEST, attempt=2)]
    assert work_of(judge([*bodies, *tests, *again])) == [("seal", "C1")]


def test_a_failed_proof_test_asks_for_a_new_splice() -> None:
    item = only_item(judge([make_splice(proof_test_passed=False)]))
    assert (item["act"], because(item)) == ("re_splice", "The splice did not pass its proof test.")


def test_several_causes_make_one_item() -> None:
    item = only_item(judge([make_splice(proof_test_passed=False, estimate_db=0.09), interim(0.4)]))
    assert because(item).count(";") == 2


def test_a_sleeve_is_shrunk_unless_the_splice_is_made_again() -> None:
    assert work_of(judge([make_splice(sleeve_shrunk=False)])) == [("shrink_sleeve", "C1")]
    assert work_of(judge([make_splice(sleeve_shrunk=False, estimate_db=0.09)])) == [("re_splice", "C1")]


def test_no_test_is_asked_for_while_a_closure_is_open() -> None:
    assert work_of(judge([*spliced(), make_closure_state()])) == [("seal", "C2")]


def test_no_test_is_asked_for_while_a_joint_is_not_spliced() -> None:
    bodies = [body for body in spliced() if body["site"] != "B"]
    assert work_of(judge([*bodies, *sealed()])) == []


def test_missing_tests_are_asked_for_of_both_ends_at_once() -> None:
    [item] = judge([*spliced(), *sealed()]).document["work"]
    assert (item["act"], where(item), because(item)) == ("test", "A-B", "Not tested yet.")
    assert criteria_behind(item) == ["SPLICE-1550", "TERM-1550", "OTDR-1550", "LINK-1550"]


def test_only_the_missing_direction_is_asked_for() -> None:
    bodies = [body for body in finished_fibre() if (body["kind"], body.get("from_site")) != ("otdr", "B")]
    item = only_item(judge(bodies))
    assert (item["act"], where(item)) == ("test", "A-B")
    assert item.get("tests") == [{"test": "otdr", "wavelengths_nm": [1550], "from_sites": ["B"]}]


def test_tests_before_a_rework_are_made_again() -> None:
    rework = [
        make_closure_state(state="opened", made_at=AFTER_TEST),
        make_splice(made_at=AFTER_TEST, attempt=2),
        make_closure_state(made_at=RETESTED),
    ]
    work = judge([*finished_fibre(), *rework]).document["work"]
    assert [(item["act"], where(item)) for item in work] == [("retest", "A-B")]
    assert because(work[0]) == "Tested before the fibre was last spliced."
    assert len(records_behind(work[0])) == 4


def test_a_changed_cord_is_tested_again_with_the_way_to_do_it() -> None:
    bodies = finished_fibre()
    for body in bodies:
        if body["kind"] == "otdr" and body["from_site"] == "B":
            body["receive_cord"] = {**body["receive_cord"], "serial": "CORD-X"}
    item = only_item(judge(bodies))
    assert (item["act"], where(item)) == ("retest", "A-B")
    assert "leave the same cord at each end" in because(item)


def test_a_bad_connection_without_a_splice_is_cleaned_and_tested_again() -> None:
    design = with_site(make_terminal("A", termination="factory_cord"), at=0)
    bodies = [
        *(body for body in spliced() if body["site"] != "A"),
        *sealed(),
        *both_ways(losses_db={"A": 0.7}),
        make_attenuation(),
        make_attenuation(from_site="B", to_site="A"),
    ]
    item = only_item(judge(bodies, design=design))
    assert (item["act"], where(item), item["position"]) == ("clean_and_inspect", "A", 1)
    assert "clean and inspect both sides, then test again" in because(item)


def test_a_link_that_loses_too_much_with_good_splices_is_looked_into() -> None:
    bodies = [{**body, "loss_db": 2.2} if body["kind"] == "attenuation" else body for body in finished_fibre()]
    item = only_item(judge(bodies))
    assert (item["act"], where(item), criteria_behind(item)) == ("retest", "A-B", ["LINK-1550"])
    assert because(item).startswith("The loss from end to end at 1550 nm is 2.2000 dB, above the limit of 2.1500 dB")


def test_joints_that_are_unclear_for_one_reason_make_one_clause() -> None:
    bodies = [body for body in finished_fibre() if body["kind"] != "otdr"]
    unseen = make_otdr(from_site="B", to_site="A", losses_db={"C1": None, "C2": None})
    traces = [make_otdr(losses_db={"C1": 0.2, "C2": 0.2}), unseen]
    item = only_item(judge([*bodies, *traces]))
    assert (item["act"], where(item)) == ("retest", "A-B")
    assert because(item).startswith("The loss is not known closely enough at C1, C2 at 1550 nm: test again")


def test_a_connection_with_its_splice_is_cleaned_before_it_is_spliced_again() -> None:
    item = only_item(judge([*spliced(), *sealed(), *both_ways(losses_db={"A": 0.7})]))
    assert (item["act"], where(item), item["position"]) == ("clean_and_inspect", "A", 1)
    assert "The loss of the connection with the splice behind it at 1550 nm is 0.7000 dB" in because(item)
    assert criteria_behind(item) == ["SPLICE-1550", "TERM-1550"]


def test_no_sealing_is_asked_for_where_the_criteria_do_not_ask_for_it() -> None:
    criteria = make_criteria(final_after_sealing=False)
    assert work_of(judge(spliced(), criteria=criteria)) == [("test", "A-B")]


def test_work_comes_in_order_from_a() -> None:
    bodies = [make_splice(site=site, estimate_db=0.09) for site in ("B", "C2", "A", "C1")]
    assert [site for _, site in work_of(judge(bodies))] == ["A", "C1", "C2", "B"]


def test_every_reason_can_be_said() -> None:
    assert set(REASON_LABELS) == set(Reason)


def test_a_panel_tested_only_span_by_span_wants_a_trace_that_runs_over_it() -> None:
    design = with_site(make_site("C2", kind="patch_panel", termination="pigtail"), at=2)
    kept = [
        record
        for record in finished_fibre(design=design)
        if record["kind"] != "otdr" and (record["kind"], record.get("site")) != ("splice", "C2")
    ]
    panel = [make_splice(site="C2", joints=[{"fibre": 1, "estimate_db": 0.02, "position": one}]) for one in (1, 3)]
    spans = [
        make_otdr(design=design, from_site=start, to_site=end)
        for start, end in (("A", "C2"), ("C2", "A"), ("C2", "B"), ("B", "C2"))
    ]
    item = only_item(judge([*kept, *panel, *spans], design=design))
    assert (item["act"], where(item)) == ("test", "C2")
    assert "runs over C2" in because(item)
