"""A splice's loss by one direction, where a contract allows it, and by the splicer's estimate."""

import pytest

from tests.factories import (
    SCRATCHED,
    Body,
    end_face_criterion,
    make_end_face,
    make_otdr,
    make_splice,
    sealed,
    splice_criterion,
    stored,
    termination_criterion,
)
from tests.unit.judgement.joints import at_c1, traces
from tests.unit.judgement.judging import finding_by


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "value_db", "outcome"),
    [
        (0.100, -0.300, "0.1000", "conforming"),
        (-0.300, 0.100, "0.1000", "conforming"),
        (0.101, -0.300, "0.1010", "nonconforming"),
        (-0.300, 0.101, "0.1010", "nonconforming"),
    ],
)
def test_one_way_the_worse_direction_is_held_against_the_limit(
    forward_db: float, backward_db: float, value_db: str, outcome: str
) -> None:
    finding = at_c1(traces(forward_db, backward_db), tested_from="either", combination="worse")
    assert (finding["value"], finding["outcome"]) == (value_db, outcome)
    assert [reading["direction"] for reading in finding["readings"]] == ["a_to_b", "b_to_a"]


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.1, "conforming"), (0.101, "nonconforming")])
@pytest.mark.parametrize(("from_site", "to_site"), [("A", "B"), ("B", "A")])
def test_one_way_one_direction_is_enough(loss_db: float, outcome: str, from_site: str, to_site: str) -> None:
    trace = make_otdr(from_site=from_site, to_site=to_site, losses_db={"C1": loss_db})
    finding = at_c1([*sealed(), trace], tested_from="either", combination="worse")
    assert (finding["outcome"], finding["value"]) == (outcome, f"{loss_db:.4f}")
    assert finding["detail"].endswith("from one direction only")


def test_one_way_no_direction_is_no_evidence() -> None:
    finding = at_c1(sealed(), tested_from="either", combination="worse")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")


@pytest.mark.parametrize(("threshold_db", "outcome"), [(0.1, "conforming"), (0.101, "undetermined")])
def test_one_way_an_unseen_splice_is_within_the_threshold(threshold_db: float, outcome: str) -> None:
    finding = at_c1(traces(None, None, loss_threshold_db=threshold_db), tested_from="either", combination="worse")
    assert (finding["high"], finding["outcome"]) == (f"{threshold_db:.4f}", outcome)


def test_one_way_a_seen_loss_is_worse_than_one_that_is_not() -> None:
    finding = at_c1(traces(0.05, None), tested_from="either", combination="worse")
    assert (finding["value"], finding["outcome"]) == ("0.0500", "conforming")


def test_one_way_a_trace_from_before_the_sealing_does_not_count() -> None:
    early = make_otdr(losses_db={"C1": 0.05}, made_at="2025-03-04T08:00:00Z")
    finding = at_c1([*sealed(), early], tested_from="either", combination="worse")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "before_sealing")
    assert finding["void"] == [{"record": early["id"], "reason": "before_sealing"}]


@pytest.mark.parametrize(
    ("backward_db", "outcome", "reason"), [(0.1, "undetermined", "loss_not_stated"), (0.101, "nonconforming", None)]
)
def test_one_way_a_direction_that_contradicts_itself_may_be_the_worse_one(
    backward_db: float, outcome: str, reason: str | None
) -> None:
    events = [{"distance_m": 1500.0, "kind": "reflective"}, {"distance_m": 3800.0, "kind": "end"}]
    back = make_otdr(from_site="B", to_site="A", losses_db={"C1": backward_db})
    finding = at_c1([*sealed(), make_otdr(events=events), back], tested_from="either", combination="worse")
    assert (finding["outcome"], finding.get("reason")) == (outcome, reason)


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.1, "conforming"), (0.101, "undetermined")])
def test_one_way_a_group_proves_its_splice_or_nothing(loss_db: float, outcome: str) -> None:
    finding = finding_by(
        splice_criterion(tested_from="either", combination="worse"), traces(loss_db, 0.02, site="A"), site="A"
    )
    assert (finding["outcome"], finding.get("reason")) == (outcome, "group_only" if outcome == "undetermined" else None)


def test_one_way_the_groups_criterion_decides_by_both_directions() -> None:
    bodies = traces(0.5, 0.5, site="A")
    finding = finding_by(
        splice_criterion(tested_from="either", combination="worse"), bodies, beside=[termination_criterion()], site="A"
    )
    assert (finding["outcome"], finding["limit"]) == ("conforming", "0.5000")


@pytest.mark.parametrize(("estimate_db", "outcome"), [(0.1, "conforming"), (0.101, "nonconforming")])
def test_an_estimate_at_its_limit_conforms_and_one_step_above_does_not(estimate_db: float, outcome: str) -> None:
    splice = make_splice(estimate_db=estimate_db)
    finding = at_c1([splice], basis="estimate")
    assert (finding["outcome"], finding["value"]) == (outcome, f"{estimate_db:.4f}")
    assert finding["readings"] == [{"record": splice["id"], "value": f"{estimate_db:.3f}"}]


def test_the_latest_attempt_gives_the_estimate() -> None:
    bad = make_splice(estimate_db=0.5)
    good = make_splice(estimate_db=0.02, attempt=2, made_at="2025-03-03T09:00:00Z")
    assert at_c1([good, bad], basis="estimate")["value"] == "0.0200"


def test_no_splice_record_is_no_estimate_whatever_traces_show() -> None:
    finding = at_c1(traces(0.02, 0.02), basis="estimate")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")


def test_a_withdrawn_splice_record_gives_no_estimate() -> None:
    assert at_c1([stored(make_splice(), is_ended=True)], basis="estimate")["reason"] == "no_evidence"


def test_an_estimate_is_that_of_its_own_splice_in_a_group() -> None:
    own, other = (
        make_splice(site="A", joints=[{"fibre": 1, "position": position, "estimate_db": 0.03}]) for position in (2, 1)
    )
    criterion = splice_criterion(basis="estimate")
    finding = finding_by(criterion, [own], site="A")
    assert (finding["value"], finding["position"]) == ("0.0300", 2)
    assert finding_by(criterion, [other], site="A")["reason"] == "no_evidence"


def test_attempts_whose_order_is_not_proven_give_no_estimate() -> None:
    late = make_splice(estimate_db=0.02, made_at="2025-03-03T09:00:00Z", device="tablet-2")
    finding = at_c1([make_splice(estimate_db=0.5), stored(late, clock_is_flagged=True)], basis="estimate")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "order_not_proven")


def test_the_same_readings_come_out_by_the_basis_that_is_agreed() -> None:
    bodies: list[Body] = [*traces(0.18, 0.01), make_splice(estimate_db=0.12)]
    asked: list[Body] = [
        {},
        {"combination": "worse"},
        {"tested_from": "a"},
        {"tested_from": "b"},
        {"basis": "estimate"},
    ]
    assert [at_c1(bodies, **one)["value"] for one in asked] == ["0.0950", "0.1800", "0.1800", "0.0100", "0.1200"]


def test_one_way_a_group_whose_end_face_fails_proves_nothing() -> None:
    bodies = [*traces(0.02, 0.02, site="A"), make_end_face(zones=SCRATCHED)]
    finding = finding_by(
        splice_criterion(tested_from="either", combination="worse"), bodies, beside=[end_face_criterion()], site="A"
    )
    assert finding["reason"] == "end_face_failed"
