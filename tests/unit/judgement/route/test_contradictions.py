"""What does not fit together proves nothing: no bad joint conforms because a test was blind, mistyped or elsewhere."""

import pytest

from tests.factories import (
    both_ways,
    make_otdr,
    sealed,
    splice_criterion,
    stored,
    termination_criterion,
)
from tests.unit.judgement.judging import finding_by, finding_of, judge, splice_at_c1


def test_a_short_pulse_that_sees_nothing_does_not_outdo_a_long_one_that_sees_a_loss() -> None:
    blind = both_ways(losses_db={"C1": None}, pulse_ns=5, loss_threshold_db=0.05)
    seeing = both_ways(losses_db={"C1": 0.5}, pulse_ns=100)
    finding = splice_at_c1([*sealed(), *blind, *seeing])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "readings_disagree")
    assert {reading["record"] for reading in finding["readings"]} == {trace["id"] for trace in (*blind, *seeing)}


@pytest.mark.parametrize("site", ["A", "B"])
def test_a_connection_without_an_event_is_never_taken_as_unseen(site: str) -> None:
    finding = finding_of(judge([*sealed(), *both_ways(losses_db={site: None})]), "TERM-1550", site=site)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "pair_not_seen")


def test_a_length_that_the_other_end_contradicts_is_a_break_and_no_scale() -> None:
    design_end_m = 3000.0 * 0.985
    short = make_otdr(receive_m=0)
    short["events"] = [event for event in short["events"] if event["kind"] != "end"]
    short["events"].append({"distance_m": 500.0 + design_end_m, "kind": "end"})
    judgement = judge([*sealed(), short, make_otdr(from_site="B", to_site="A")])
    assert finding_of(judgement, "OTDR-1550")["outcome"] == "undetermined"


@pytest.mark.parametrize("flagged", ["tests", "sealing"])
def test_a_device_whose_clock_was_set_in_between_orders_nothing(flagged: str) -> None:
    lids = [stored(lid, clock_is_flagged=flagged == "sealing") for lid in sealed(device="one-tablet")]
    traces = [stored(trace, clock_is_flagged=flagged == "tests") for trace in both_ways(device="one-tablet")]
    assert splice_at_c1([*lids, *traces])["reason"] == "order_not_proven"


def test_only_a_required_and_the_strictest_limit_decides_the_splice_behind_a_connection() -> None:
    loose = termination_criterion(code="LOOSE", limit_db=5.0, force="advisory")
    laxer = termination_criterion(code="LAXER", limit_db=2.0)
    bodies = [*sealed(), *both_ways(losses_db={"A": 1.5})]
    finding = finding_by(splice_criterion(), bodies, beside=[loose, laxer, termination_criterion()], site="A")
    assert finding["outcome"] == "nonconforming"
