"""End-to-end attenuation, and the tests that have to be there."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    link_criterion,
    make_attenuation,
    make_design,
    make_otdr,
    make_sections,
    sealed,
    stored,
)
from tests.unit.judgement.judging import finding_by, finding_of, judge


def two_way(forward_db: float, backward_db: float, **changes: Any) -> list[Body]:
    """Return both directions of a link test after sealing."""
    return [
        *sealed(),
        make_attenuation(loss_db=forward_db, **changes),
        make_attenuation(from_site="B", to_site="A", loss_db=backward_db, **changes),
    ]


def link(bodies: list[Any], design: Body | None = None, **changes: Any) -> FindingDocument:
    """Return the finding about the link."""
    return finding_by(link_criterion(**changes), bodies, design=design)


# 3 km at 0.25 dB/km, 4 splices at 0.1 dB, 2 pairs at 0.5 dB: 0.75 + 0.4 + 1.0.
@pytest.mark.parametrize(
    ("cords", "limit_db"), [(1, "2.1500"), (2, "1.6500"), (3, "1.1500")], ids=["one cord", "two cords", "three cords"]
)
def test_the_budget_counts_the_ends_that_the_reference_leaves_in(cords: int, limit_db: str) -> None:
    assert link(two_way(0.9, 0.9, reference_cords=cords))["limit"] == limit_db


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "value_db", "outcome"),
    [
        (2.15, 2.15, "2.1500", "conforming"),
        (2.151, 2.149, "2.1500", "conforming"),
        (2.151, 2.15, "2.1505", "nonconforming"),
        (2.149, 2.15, "2.1495", "conforming"),
    ],
)
def test_a_mean_at_the_budget_conforms_and_half_a_step_above_does_not(
    forward_db: float, backward_db: float, value_db: str, outcome: str
) -> None:
    finding = link(two_way(forward_db, backward_db))
    assert (finding["value"], finding["outcome"]) == (value_db, outcome)


@pytest.mark.parametrize(("worse_db", "outcome"), [(2.15, "conforming"), (2.151, "nonconforming")])
def test_the_worse_direction_decides_where_the_criteria_say_so(worse_db: float, outcome: str) -> None:
    finding = link(two_way(1.0, worse_db), combination="worse")
    assert (finding["value"], finding["outcome"]) == (f"{worse_db:.4f}", outcome)


@pytest.mark.parametrize(("loss_db", "outcome"), [(1.8, "conforming"), (1.801, "nonconforming")])
def test_a_fixed_limit_is_one_figure(loss_db: float, outcome: str) -> None:
    finding = link(two_way(loss_db, loss_db), limit={"kind": "fixed", "limit_db": 1.8})
    assert (finding["limit"], finding["outcome"]) == ("1.8000", outcome)


def test_a_budget_is_decided_on_exact_values_and_printed_rounded() -> None:
    # 1000.01 m at 0.333 dB/km three times is 0.99900999 dB: printed 0.9990, yet a reading of 0.999 keeps it.
    design = make_design(sections=make_sections([1000.01] * 3))
    limit = {"kind": "budget", "attenuation_db_per_km": 0.333, "splice_db": 0.0, "connection_db": 0.0}
    assert link(two_way(0.999, 0.999), design=design, limit=limit)["outcome"] == "conforming"
    above = link(two_way(0.999, 1.0), design=design, limit=limit)
    assert (above["limit"], above["value"], above["outcome"]) == ("0.9990", "0.9995", "nonconforming")


def test_excess_and_slack_lengthen_the_budgets_fibre() -> None:
    design = make_design()
    design["sections"][0] |= {"slack_m": 20.0, "excess_percent": 1.0}
    # 1020 m and one percent: 1030.2 m, 30.2 m more than without: 0.25 dB/km adds 0.00755 dB.
    assert link(two_way(1.0, 1.0), design=design)["limit"] == "2.1576"


def test_one_direction_is_not_enough() -> None:
    finding = link(two_way(1.0, 1.0)[:-1])
    assert finding["reason"] == "one_direction_only"
    assert finding["detail"] == "no attenuation test B to A at 1550 nm"


@pytest.mark.parametrize(
    ("asked", "used", "reason"),
    [(None, (1, 2), "reference_unlike"), (2, (1, 1), "reference_unlike"), (1, (1, 1), None)],
)
def test_the_reference_method_has_to_be_the_agreed_one_both_ways(
    asked: int | None, used: tuple[int, int], reason: str | None
) -> None:
    bodies = [
        *sealed(),
        make_attenuation(reference_cords=used[0]),
        make_attenuation(from_site="B", to_site="A", reference_cords=used[1]),
    ]
    assert link(bodies, reference_cords=asked).get("reason") == reason


# 3 km at least 0.16 dB/km is 0.48 dB; with 0.3 dB of uncertainty 0.18 dB is still possible.
@pytest.mark.parametrize(("loss_db", "reason"), [(0.18, None), (0.179, "below_fibre_alone")])
def test_a_loss_below_what_the_fibre_alone_can_have_is_void(loss_db: float, reason: str | None) -> None:
    finding = link(two_way(loss_db, loss_db))
    assert finding.get("reason") == reason
    assert {void["reason"] for void in finding["void"]} == ({reason} if reason else set())


def test_no_loss_is_too_low_where_no_least_is_agreed() -> None:
    finding = link(two_way(0.001, 0.001), least_attenuation_db_per_km=None)
    assert (finding["outcome"], finding["void"]) == ("conforming", [])


def test_a_link_test_counts_only_after_all_closures_are_shut() -> None:
    assert link(two_way(1.0, 1.0)[1:])["reason"] == "sealing_not_recorded"


def test_a_link_test_of_a_part_of_the_route_is_passed_over() -> None:
    part = [*sealed(), make_attenuation(to_site="C2"), make_attenuation(from_site="C2", to_site="A")]
    assert link(part)["reason"] == "no_evidence"


def test_either_instruments_calibration_can_void_a_link_test() -> None:
    run_out = {"serial": "PM-1", "calibrated_until": "2025-03-19"}
    assert link(two_way(1.0, 1.0, meter=run_out))["reason"] == "calibration_run_out"


def test_a_stored_fibre_has_no_link_findings() -> None:
    design = make_design(splice_plan=[{"site": "C1", "fibres": {"first": 1, "last": 1}, "action": "stored"}])
    quantities = {f["quantity"] for f in judge(two_way(1.0, 1.0), design=design).document["findings"]}
    assert quantities == {"splice_loss", "termination_loss"}


def required(bodies: list[Any]) -> FindingDocument:
    """Return the finding about the required traces."""
    return finding_of(judge(bodies), "OTDR-1550")


def test_required_traces_are_there_in_both_directions() -> None:
    assert required([*sealed(), *both_ways()])["outcome"] == "conforming"


def test_a_missing_trace_is_named() -> None:
    finding = required([*sealed(), make_otdr()])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")
    assert finding["detail"] == "no OTDR trace B to A at 1550 nm"


def test_a_withdrawn_trace_is_a_missing_one() -> None:
    finding = required([*sealed(), make_otdr(), stored(make_otdr(from_site="B", to_site="A"), is_ended=True)])
    assert finding["reason"] == "no_evidence"
    assert [void["reason"] for void in finding["void"]] == ["replaced_or_withdrawn"]


def test_a_void_trace_gives_its_reason() -> None:
    old = make_otdr(from_site="B", to_site="A", calibrated_until="2025-01-01")
    assert required([*sealed(), make_otdr(), old])["reason"] == "calibration_run_out"


def test_spans_that_join_up_are_as_good_as_one_trace() -> None:
    spans = [("A", "C1"), ("C1", "B"), ("B", "C1"), ("C1", "A")]
    bodies = [*sealed(), *(make_otdr(from_site=start, to_site=end) for start, end in spans)]
    assert required(bodies)["outcome"] == "conforming"
    assert required(bodies[:-1])["outcome"] == "undetermined"


def test_a_trace_that_ends_at_a_break_is_not_the_required_one() -> None:
    broken = make_otdr(events=[{"distance_m": 2000.0, "kind": "end"}])
    assert required([*sealed(), broken, make_otdr(from_site="B", to_site="A")])["reason"] == "beyond_reach"
