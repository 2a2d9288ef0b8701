"""The bidirectional loss of a splice against its limit."""

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.factories import (
    Body,
    both_ways,
    make_closure_state,
    make_otdr,
    sealed,
    splice_criterion,
    stretched,
    with_event_from_a,
)
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import finding_of, judge, splice_at_c1


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "value_db", "margin_db", "outcome"),
    [
        (0.100, 0.100, "0.1000", "0.0000", "conforming"),
        (0.101, 0.099, "0.1000", "0.0000", "conforming"),
        (0.101, 0.100, "0.1005", "-0.0005", "nonconforming"),
        (0.100, 0.099, "0.0995", "0.0005", "conforming"),
        (0.343, -0.243, "0.0500", "0.0500", "conforming"),
        (0.052, 0.034, "0.0430", "0.0570", "conforming"),
    ],
)
def test_a_mean_at_its_limit_conforms_and_half_a_step_above_does_not(
    forward_db: float, backward_db: float, value_db: str, margin_db: str, outcome: str
) -> None:
    finding = splice_at_c1(traces(forward_db, backward_db))
    assert (finding["value"], finding["margin"], finding["outcome"]) == (value_db, margin_db, outcome)
    assert finding["limit"] == "0.1000"


def test_a_mean_names_both_readings() -> None:
    finding = splice_at_c1(traces(0.052, 0.034))
    assert finding["detail"] == "mean of 0.052 dB (A to B) and 0.034 dB (B to A)"
    assert [(reading["direction"], reading["value"]) for reading in finding["readings"]] == [
        ("a_to_b", "0.052"),
        ("b_to_a", "0.034"),
    ]
    assert [reading["distance_m"] for reading in finding["readings"]] == ["1500.00", "2300.00"]


@pytest.mark.parametrize(
    ("seen_db", "low_db", "high_db", "outcome"),
    [
        (0.180, "0.0800", "0.1000", "conforming"),
        (0.181, "0.0805", "0.1005", "undetermined"),
        (0.220, "0.1000", "0.1200", "undetermined"),
        (0.221, "0.1005", "0.1205", "nonconforming"),
    ],
)
def test_a_splice_unseen_one_way_is_known_within_half_the_threshold(
    seen_db: float, low_db: str, high_db: str, outcome: str
) -> None:
    finding = splice_at_c1(traces(seen_db, None))
    assert (finding["low"], finding["high"], finding["outcome"]) == (low_db, high_db, outcome)
    assert finding.get("reason") == ("bound_too_wide" if outcome == "undetermined" else None)
    assert finding["readings"][1].get("within") == "0.020"


def test_a_splice_unseen_both_ways_is_within_both_thresholds() -> None:
    finding = splice_at_c1(traces(None, None, loss_threshold_db=0.1))
    assert (finding["low"], finding["high"], finding["outcome"]) == ("-0.1000", "0.1000", "conforming")
    assert splice_at_c1(traces(None, None, loss_threshold_db=0.101))["reason"] == "bound_too_wide"


def test_one_direction_alone_is_never_a_splice_loss() -> None:
    finding = splice_at_c1([*sealed(), make_otdr()])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "one_direction_only")
    assert "value" not in finding
    assert [reading["value"] for reading in finding["readings"]] == ["0.040"]


def test_no_trace_at_all_is_no_evidence() -> None:
    finding = splice_at_c1(sealed())
    assert (finding["outcome"], finding["reason"], finding["readings"]) == ("undetermined", "no_evidence", [])


@pytest.mark.parametrize("end", [[{"distance_m": 2200.0, "kind": "end"}], []], ids=["ends early", "has no end"])
def test_a_trace_counts_up_to_its_end_or_its_last_event_only(end: list[Body]) -> None:
    short = make_otdr(events=[{"distance_m": 1500.0, "kind": "non_reflective", "loss_db": 0.05}, *end])
    judgement = judge([*sealed(), short, make_otdr(from_site="B", to_site="A")])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0450"
    assert finding_of(judgement, "SPLICE-1550", site="C2")["reason"] == "beyond_reach"


@pytest.mark.parametrize(
    ("events", "reason"),
    [
        ([{"distance_m": 500.0 + 3100.0 + 300.0, "kind": "end"}], "length_unlike"),
        # An event without a loss is not a loss of zero.
        ([{"distance_m": 1500.0, "kind": "reflective"}, {"distance_m": 3800.0, "kind": "end"}], "loss_not_stated"),
    ],
)
def test_a_trace_longer_than_the_design_allows_or_without_the_loss_proves_nothing(
    events: list[Body], reason: str
) -> None:
    finding = splice_at_c1([*sealed(), make_otdr(events=events), make_otdr(from_site="B", to_site="A")])
    assert finding["reason"] == reason


def test_a_wrong_index_within_bounds_is_scaled_out() -> None:
    # One percent long: the events lie 10 and 20 m from where the design puts them, the far end 30 m.
    traces = [stretched(trace, by=1.01) for trace in both_ways()]
    assert splice_at_c1([*sealed(), *traces])["value"] == "0.0400"


def test_a_trace_that_does_not_fit_the_design_proves_nothing_by_what_it_does_not_show() -> None:
    forward = make_otdr(losses_db={"C1": 0.5})
    forward["launch_cord"] = {**forward["launch_cord"], "length_m": 450.0}
    judgement = judge([*sealed(), forward, make_otdr(from_site="B", to_site="A", losses_db={"C1": None})])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "ambiguous_event"


def test_an_event_on_nothing_is_unexpected_and_placed_from_a() -> None:
    bent = [with_event_from_a(trace, 1500.0, loss_db=0.2) for trace in both_ways()]
    judgement = judge([*sealed(), *bent])
    assert [
        (event["direction"], event["from_a_m"], event.get("loss_db"))
        for event in judgement.document["unexpected_events"]
    ] == [("a_to_b", "1500.00", "0.200"), ("b_to_a", "1500.00", "0.200")]
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0400"


def test_the_shortest_pulse_that_reaches_a_joint_is_read() -> None:
    short = make_otdr(
        pulse_ns=10,
        events=[
            {"distance_m": 1500.0, "kind": "non_reflective", "loss_db": 0.09},
            {"distance_m": 2000.0, "kind": "end"},
        ],
    )
    judgement = judge([*traces(0.05, 0.05), short])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0700"
    assert finding_of(judgement, "SPLICE-1550", site="C2")["value"] == "0.0400"


def test_another_wavelength_proves_nothing() -> None:
    assert splice_at_c1(traces(0.05, 0.05, wavelength_nm=1310))["reason"] == "no_evidence"


def test_spans_between_other_sites_are_placed_too() -> None:
    span = [make_otdr(from_site="A", to_site="C2"), make_otdr(from_site="C2", to_site="A")]
    judgement = judge([*sealed(), *span])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["value"] == "0.0400"
    # The joint where a span ends is seen from one side only.
    assert finding_of(judgement, "SPLICE-1550", site="C2")["reason"] == "no_evidence"


def test_a_fibre_out_of_scope_has_an_empty_document() -> None:
    judgement = judge([*traces(0.05, 0.05), make_closure_state()], fibre=13, design=None)
    assert judgement.document["findings"] == []
    assert judgement.document["work"] == []
    assert judgement.counts == {}


RANK = {"conforming": 0, "undetermined": 1, "nonconforming": 2}
LOSSES_MDB = st.one_of(st.none(), st.integers(min_value=-300, max_value=400))


@given(first=LOSSES_MDB, second=st.integers(min_value=-300, max_value=400), worse_by=st.integers(1, 200))
def test_a_worse_reading_never_comes_out_better(first: int | None, second: int, worse_by: int) -> None:
    criteria = {"title": "One", "criteria": [splice_criterion()]}
    first_db = None if first is None else first / 1000
    before = splice_at_c1(traces(first_db, second / 1000), criteria=criteria)
    after = splice_at_c1(traces(first_db, (second + worse_by) / 1000), criteria=criteria)
    # A mean that no joint can have says nothing of the joint; the reading that makes it possible is no worse one.
    assume(before.get("reason") != "below_zero")
    assert RANK[after["outcome"]] >= RANK[before["outcome"]]


@given(first=LOSSES_MDB, second=LOSSES_MDB)
def test_swapping_the_directions_changes_no_value(first: int | None, second: int | None) -> None:
    one, other = (None if loss is None else loss / 1000 for loss in (first, second))
    forward, backward = splice_at_c1(traces(one, other)), splice_at_c1(traces(other, one))
    assert any(name in forward for name in ("value", "low", "reason"))
    for name in ("outcome", "reason", "value", "low", "high", "margin"):
        assert forward.get(name) == backward.get(name)


@given(first=st.integers(-300, 400), second=st.integers(-300, 400))
def test_the_outcome_is_that_of_exact_decimal_arithmetic(first: int, second: int) -> None:
    finding = splice_at_c1(traces(first / 1000, second / 1000))
    mean = (Decimal(first) + Decimal(second)) / 2000
    if mean < Decimal("-0.04"):
        assert (finding["outcome"], finding["reason"]) == ("undetermined", "below_zero")
        return
    assert Decimal(finding["value"]) == mean
    assert (finding["outcome"] == "conforming") == (mean <= Decimal("0.1"))
