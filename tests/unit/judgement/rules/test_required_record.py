"""The record of each joint of the plan, and splices that their records say are not finished."""

from collections.abc import Sequence

import pytest

from tests.factories import (
    Body,
    both_ways,
    finished_fibre,
    make_closure_state,
    make_splice,
    make_termination,
    only,
    reflectance_criterion,
    required_record_criterion,
    sealed,
    splice_criterion,
    spliced,
    stored,
    termination_criterion,
    with_id,
)
from tests.unit.judgement.judging import because, criteria_behind, finding_of, judge, only_item, where
from worker.judgement.history.evidence import Evidence

SPLICES = required_record_criterion(joint="splice")
LATER = "2025-03-04T08:00:00Z"
UNSHRUNK: Body = {"sleeve_shrunk": False}
FAILED: Body = {"proof_test_passed": False}


def recorded(bodies: Sequence[Body | Evidence], criterion: Body) -> dict[tuple[str, int], str]:
    """Return what each joint's finding says, by site and position: its outcome, or why it is undetermined."""
    found = judge(bodies, criteria=only(criterion)).document["findings"]
    return {(one["site"], one["position"]): one.get("reason", one["outcome"]) for one in found}


def test_each_splice_of_the_plan_has_its_record() -> None:
    everywhere = {("A", 2), ("C1", 1), ("C2", 1), ("B", 1)}
    assert recorded([*spliced()], SPLICES) == dict.fromkeys(everywhere, "conforming")
    assert recorded([], SPLICES) == dict.fromkeys(everywhere, "no_evidence")
    but_one = [one for one in spliced() if one["site"] != "C2"]
    assert recorded(but_one, SPLICES) == {**dict.fromkeys(everywhere, "conforming"), ("C2", 1): "no_evidence"}


@pytest.mark.parametrize(
    "record",
    [make_splice(fibres=[2]), make_splice(site="C2"), stored(make_splice(), is_ended=True)],
    ids=["of another fibre", "elsewhere", "withdrawn"],
)
def test_another_record_is_not_that_of_the_splice(record: Body | Evidence) -> None:
    assert recorded([record], SPLICES)["C1", 1] == "no_evidence"


def test_each_pair_has_its_terminations_record() -> None:
    criterion = required_record_criterion(joint="pair")
    assert recorded([make_termination()], criterion) == {("A", 1): "conforming", ("B", 2): "no_evidence"}


def test_where_no_kind_is_named_every_joint_is_asked_for_in_route_order() -> None:
    found = recorded([*spliced(), make_termination(), make_termination(site="B")], required_record_criterion())
    assert list(found) == [("A", 1), ("A", 2), ("C1", 1), ("C2", 1), ("B", 1), ("B", 2)]
    assert set(found.values()) == {"conforming"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"estimate_db": 0.03}, "conforming"),
        ({"estimate_db": 0.03, "position": 1}, "conforming"),
        ({}, "no_evidence"),
        ({"estimate_db": 0.03, "how": "splice_on_connector"}, "no_evidence"),
    ],
)
def test_a_pigtails_termination_with_an_estimate_is_the_record_of_its_splice(changes: Body, said: str) -> None:
    assert recorded([make_termination(**changes)], SPLICES)["A", 2] == said


@pytest.mark.parametrize("closed_by", [make_closure_state(site="C2"), *both_ways()])
def test_what_is_shut_or_tested_without_its_record_is_asked_for(closed_by: Body) -> None:
    but_one = [one for one in spliced() if one["site"] != "C2"]
    criteria = only(SPLICES)
    [first] = [one for one in judge(but_one, criteria=criteria).document["work"] if one["act"] == "splice"]
    assert where(first) == "C2"
    work = judge([*but_one, *sealed(), closed_by], criteria=criteria).document["work"]
    [item] = [one for one in work if where(one) == "C2"]
    assert (item["act"], criteria_behind(item)) == ("post_record", ["RECORDED"])
    assert because(item).startswith("No splice record is there")


def finished_but(**changes: object) -> list[Body]:
    """Return a fibre that conforms, but for what is said of its splice in C1."""
    splice = make_splice(**changes)  # type: ignore[arg-type]
    return [splice if (one["kind"], one.get("site")) == ("splice", "C1") else one for one in finished_fibre()]


@pytest.mark.parametrize(
    ("changes", "act"), [(UNSHRUNK, "shrink_sleeve"), (FAILED, "re_splice"), (UNSHRUNK | FAILED, "re_splice")]
)
def test_an_unfinished_splice_conforms_to_no_limit_whatever_it_measures(changes: Body, act: str) -> None:
    judgement = judge(finished_but(**changes))
    finding = finding_of(judgement, "SPLICE-1550", site="C1")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "work_not_finished")
    assert finding["value"] == "0.0400"
    others = [one for one in judgement.document["findings"] if one is not finding]
    assert {one["outcome"] for one in others} == {"conforming"}
    item = only_item(judgement)
    assert (item["act"], where(item), criteria_behind(item)) == (act, "C1", ["SPLICE-1550"])


@pytest.mark.parametrize("changes", [UNSHRUNK, FAILED])
def test_that_an_unfinished_splice_conforms_can_be_agreed(changes: Body) -> None:
    criteria = only(splice_criterion(), finished_splices_only=False)
    found = finding_of(judge(finished_but(**changes), criteria=criteria), "SPLICE-1550", site="C1")
    assert found["outcome"] == "conforming"


@pytest.mark.parametrize("changes", [UNSHRUNK, FAILED])
def test_only_the_latest_record_of_a_splice_says_whether_it_is_finished(changes: Body) -> None:
    first, later = make_splice(**changes), make_splice(made_at=LATER, attempt=2)
    assert at_c1([*finished_fibre(), with_id({**first, "made_at": "2025-03-02T08:00:00Z"})]) == "conforming"
    unfinished_later = make_splice(made_at=LATER, attempt=2, **changes)
    assert at_c1([*finished_fibre(), unfinished_later]) == "work_not_finished"
    assert at_c1([*finished_but(**changes), later]) == "conforming"


def at_c1(bodies: list[Body]) -> str:
    """Return what the splice in C1 comes to, or why it is undetermined."""
    found = finding_of(judge(bodies), "SPLICE-1550", site="C1")
    return str(found.get("reason", found["outcome"]))


def test_a_replaced_record_says_nothing_of_it() -> None:
    replaced = stored(make_splice(**UNSHRUNK), is_ended=True)
    assert finding_of(judge([*finished_fibre(), replaced]), "SPLICE-1550", site="C1")["outcome"] == "conforming"


def test_what_does_not_conform_by_its_loss_stays_so() -> None:
    lossy = both_ways(losses_db={"C1": 0.2})
    judgement = judge([*spliced(**UNSHRUNK), *sealed(), *lossy], criteria=only(splice_criterion()))
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "nonconforming"


@pytest.mark.parametrize("site", ["A", "B"])
def test_a_pigtails_splice_keeps_the_connection_in_front_of_it(site: str) -> None:
    splices = [make_splice(site=one, **(UNSHRUNK if one == site else {})) for one in ("A", "C1", "C2", "B")]
    criteria = only(termination_criterion(), splice_criterion(), reflectance_criterion(limit_db=-10.0), SPLICES)
    judgement = judge([*splices, *sealed(), *both_ways()], criteria=criteria)
    reasons = {
        (one["criterion"], one.get("site"))
        for one in judgement.document["findings"]
        if one.get("reason") == "work_not_finished"
    }
    assert reasons == {("TERM-1550", site), ("SPLICE-1550", site), ("RECORDED", site)}


def test_a_wrong_clock_leaves_open_whether_it_is_finished() -> None:
    unfinished = stored(make_splice(made_at=LATER, device="tablet-2", **UNSHRUNK), clock_is_flagged=True)
    found = judge([make_splice(), unfinished], criteria=only(SPLICES)).document["findings"]
    [at_c1] = [one for one in found if one["site"] == "C1"]
    assert at_c1["reason"] == "order_not_proven"
