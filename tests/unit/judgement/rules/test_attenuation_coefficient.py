"""The fibre's own attenuation, without its joints, by section and by span."""

from collections.abc import Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    coefficient_criterion,
    make_cleaning,
    make_closure_state,
    make_design,
    make_otdr,
    make_sections,
    only,
    sealed,
    stored,
    with_events,
)
from tests.unit.judgement.judging import judge
from worker.judgement.history.evidence import Evidence

AFTER_TEST = "2025-03-25T08:00:00Z"


def findings(
    bodies: Sequence[Body | Evidence], *, design: Body | None = None, **changes: Any
) -> dict[str, FindingDocument]:
    """Return the findings by section, or by the two ends of a span, under a limit of 0.22 dB/km."""
    criteria = only(coefficient_criterion(**{"limit_db_per_km": 0.22, **changes}))
    judged = judge(bodies, design=design, criteria=criteria)
    return {
        finding.get("section") or f"{finding['from_site']}-{finding['to_site']}": finding
        for finding in judged.document["findings"]
    }


def stating(trace: Body, *coefficients: float | None) -> Body:
    """Return a trace whose events state the fibre before them, in the order in which its light meets them."""
    left = iter(coefficients)

    def state(event: Body) -> Body:
        coefficient = next(left, None)
        return event if coefficient is None else {**event, "attenuation_db_per_km": coefficient}

    return with_events(trace, state)


def two_way(forward: Sequence[float | None], backward: Sequence[float | None], **changes: Any) -> list[Body]:
    """Return a trace from each end that states the three sections, each in its own order from its port's cord."""
    there, back = both_ways(**changes)
    return [*sealed(), stating(there, 0.2, *forward), stating(back, 0.2, *backward)]


@pytest.mark.parametrize(
    ("forward", "backward", "value", "outcome"),
    [
        (0.22, 0.22, "0.2200", "conforming"),
        (0.221, 0.219, "0.2200", "conforming"),
        (0.221, 0.22, "0.2205", "nonconforming"),
        (0.219, 0.22, "0.2195", "conforming"),
    ],
)
def test_a_mean_at_the_limit_conforms_and_half_a_step_above_does_not(
    forward: float, backward: float, value: str, outcome: str
) -> None:
    # S1 is met first from A and last from B.
    finding = findings(two_way([forward, 0.2, 0.2], [0.2, 0.2, backward]))["S1"]
    assert (finding["value"], finding["unit"], finding["outcome"]) == (value, "dB/km", outcome)
    assert finding["segments"] == ["SEG1"]
    assert [reading["value"] for reading in finding["readings"]] == [f"{forward:.3f}", f"{backward:.3f}"]


def test_each_section_has_the_value_of_the_event_at_its_far_site() -> None:
    found = findings(two_way([0.18, 0.19, 0.2], [0.21, 0.2, 0.19]))
    assert {section: finding["value"] for section, finding in found.items()} == {
        "S1": "0.1850",
        "S2": "0.1950",
        "S3": "0.2050",
    }


def test_the_launch_cords_own_attenuation_is_nobodys() -> None:
    there, back = both_ways()
    bodies = [*sealed(), stating(there, 9.0, 0.2, 0.2, 0.2), stating(back, 9.0, 0.2, 0.2, 0.2)]
    assert {finding["value"] for finding in findings(bodies).values()} == {"0.2000"}


@pytest.mark.parametrize(
    ("decision", "coefficient", "outcome", "grade"),
    [
        ("guarded", 0.2, "conforming", None),
        ("guarded", 0.201, "nonconforming", None),
        ("four_way", 0.2, "conforming", "full"),
        ("four_way", 0.201, "conforming", "conditional"),
        ("four_way", 0.24, "nonconforming", "conditional"),
        ("four_way", 0.241, "nonconforming", "full"),
    ],
)
def test_the_guard_band_is_the_uncertainty(decision: str, coefficient: float, outcome: str, grade: str | None) -> None:
    bodies = two_way([coefficient] * 3, [coefficient] * 3)
    finding = findings(bodies, decision=decision, uncertainty_db_per_km=0.02)["S2"]
    assert (finding["outcome"], finding.get("grade"), finding["uncertainty"]) == (outcome, grade, "0.0200")


def test_the_span_is_the_mean_weighted_by_length() -> None:
    design = make_design(sections=make_sections([2000.0, 1000.0, 1000.0]))
    there, back = both_ways(design=design)
    bodies = [*sealed(), stating(there, 0.2, 0.25, 0.2, 0.2), stating(back, 0.2, 0.2, 0.2, 0.25)]
    # (2 km at 0.25 and 2 km at 0.2) over 4 km.
    finding = findings(bodies, design=design, over="span")["A-B"]
    assert (finding["value"], finding["outcome"]) == ("0.2250", "nonconforming")


def test_the_span_is_decided_on_its_exact_mean() -> None:
    # A third of 0.001 above the limit is printed 0.2203 and one step less than that keeps it.
    at = two_way([0.22, 0.22, 0.22], [0.22, 0.22, 0.22])
    above = two_way([0.221, 0.22, 0.22], [0.22, 0.22, 0.22])
    assert findings(at, over="span")["A-B"]["outcome"] == "conforming"
    finding = findings(above, over="span")["A-B"]
    assert (finding["value"], finding["margin"], finding["outcome"]) == ("0.2202", "-0.0002", "nonconforming")


@pytest.mark.parametrize(("length_m", "sections"), [(1000.0, {"S1", "S2", "S3"}), (999.99, {"S2", "S3"})])
def test_a_stretch_too_short_to_be_measured_has_no_finding(length_m: float, sections: set[str]) -> None:
    design = make_design(sections=make_sections([length_m, 1000.0, 1000.0]))
    assert set(findings([], design=design)) == sections
    assert set(findings([], design=design, over="span", least_length_m=3000.0)) == (
        {"A-B"} if length_m == 1000 else set()
    )


def unseen_at_c1(forward: Sequence[float], backward: Sequence[float], **changes: Any) -> list[Body]:
    """Return both directions, neither of which shows the joint at C1."""
    there, back = both_ways(losses_db={"C1": None}, **changes)
    return [*sealed(), stating(there, 0.2, *forward), stating(back, 0.2, *backward)]


def test_over_a_joint_that_is_too_good_to_be_seen_the_fibre_is_stated_as_one() -> None:
    found = findings(unseen_at_c1([0.22, 0.2], [0.2, 0.21]))
    assert {section: finding["value"] for section, finding in found.items()} == {
        "S1": "0.2150",
        "S2": "0.2150",
        "S3": "0.2000",
    }
    assert (
        found["S1"]["detail"]
        == "mean of 0.220 dB/km (A to B, S1 to S2 as one) and 0.210 dB/km (B to A, S1 to S2 as one)"
    )
    assert found["S3"]["detail"] == "mean of 0.200 dB/km (A to B) and 0.200 dB/km (B to A)"


def test_what_is_stated_as_one_counts_only_where_no_closure_of_it_was_opened_since() -> None:
    found = findings([*unseen_at_c1([0.2, 0.2], [0.2, 0.2]), make_closure_state(site="C2", made_at=AFTER_TEST)])
    assert [found[section].get("reason") for section in ("S1", "S2", "S3")] == ["opening_not_recorded"] * 3


def test_an_event_without_the_fibres_attenuation_is_not_zero() -> None:
    finding = findings(two_way([None, 0.2, 0.2], [0.2, 0.2, 0.2]))["S1"]
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "coefficient_not_stated")
    assert "value" not in finding


def test_one_direction_is_not_enough() -> None:
    assert findings(two_way([0.2] * 3, [0.2] * 3)[:-1])["S1"]["reason"] == "one_direction_only"
    assert findings([])["S1"]["reason"] == "no_evidence"


def test_a_mean_below_zero_is_no_fibre() -> None:
    finding = findings(two_way([-0.1, 0.2, 0.2], [0.2, 0.2, 0.099]))["S1"]
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "below_fibre_alone")
    assert findings(two_way([-0.1, 0.2, 0.2], [0.2, 0.2, 0.1]))["S1"]["value"] == "0.0000"


def test_a_trace_before_the_closure_was_shut_does_not_count_there() -> None:
    bodies = [make_closure_state(made_at=AFTER_TEST), *two_way([0.2] * 3, [0.2] * 3)]
    found = findings(bodies)
    assert [one.get("reason") for one in found.values()] == ["opening_not_recorded", "opening_not_recorded", None]
    assert {void["reason"] for void in found["S1"]["void"]} == {"opening_not_recorded"}


def test_cleaning_a_connection_changes_nothing_of_the_fibre() -> None:
    bodies = [*two_way([0.2] * 3, [0.2] * 3), make_cleaning(made_at=AFTER_TEST)]
    assert findings(bodies)["S1"]["outcome"] == "conforming"


def test_a_withdrawn_trace_is_shown_and_does_not_count() -> None:
    *lids, there, back = two_way([0.2] * 3, [0.2] * 3)
    finding = findings([*lids, stored(there, is_ended=True), back])["S1"]
    assert finding["reason"] == "one_direction_only"
    assert finding["void"] == [{"record": there["id"], "reason": "replaced_or_withdrawn"}]


def test_without_a_cord_the_traces_end_states_the_last_section() -> None:
    there, back = both_ways(launch_m=0.0, receive_m=0.0)
    # C1, C2 and the end, from either side.
    bodies = [*sealed(), stating(there, 0.2, 0.2, 0.21), stating(back, 0.2, 0.2, 0.19)]
    found = findings(bodies)
    assert (found["S3"]["value"], found["S1"]["value"]) == ("0.2050", "0.1950")


def test_fibre_that_passes_a_site_uncut_is_one_piece_over_both_sections() -> None:
    design = make_design(splice_plan=[{"site": "C1", "fibres": {"first": 1, "last": 12}, "action": "uncut"}])
    there, back = (
        with_events(trace, lambda event: None if event.get("loss_db") == 0.01 else event)
        for trace in both_ways(design=design, losses_db={"C1": 0.01})
    )
    bodies = [*sealed(), stating(there, 0.2, 0.23, 0.18), stating(back, 0.2, 0.22, 0.19)]
    found = findings(bodies, design=design)
    assert (found["S1"]["value"], found["S2"]["value"], found["S3"]["value"]) == ("0.2100", "0.2100", "0.2000")


def test_a_trace_over_a_part_states_that_part() -> None:
    parts = [make_otdr(to_site="C1"), make_otdr(from_site="C1", to_site="A")]
    bodies = [*sealed(), *(stating(part, 0.2, 0.2) for part in parts)]
    found = findings(bodies)
    assert (found["S1"]["outcome"], found["S2"]["reason"]) == ("conforming", "no_evidence")


def test_cable_that_no_segment_has_is_nobodys_to_prove() -> None:
    segment = make_design()["segments"][0]
    found = findings(two_way([0.22] * 3, [0.22] * 3), design=make_design(segments=[{**segment, "sections": ["S1"]}]))
    assert list(found) == ["S1"]
