"""How traces were taken: in each direction one that counts keeps pulse, averaging, threshold, range and statements."""

from collections.abc import Sequence
from typing import Any

import pytest
from pydantic import ValidationError

from service.vocabulary.criteria.trace_settings import TraceSettingsCriterion
from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    criteria_of,
    layout_of,
    make_design,
    make_otdr,
    make_sections,
    make_site,
    only,
    sealed,
    settings_criterion,
    with_events,
    with_site,
)
from tests.unit.judgement.judging import because, criteria_behind, judge, only_item, records_behind, where
from worker.judgement.judge import FibreJudgement
from worker.judgement.rules.attainable import attainability

BARE: Body = {"pulses": [], "most_loss_threshold_db": None}
FORWARD, BACKWARD = ("A", "B"), ("B", "A")


def judged(bodies: Sequence[Body], *, design: Body | None = None, **asked: Any) -> FibreJudgement:
    """Judge traces of the usual route of 3000 m by a criterion that asks for so much."""
    return judge([*sealed(), *bodies], design=design, criteria=only(settings_criterion(**asked)))


def findings(bodies: Sequence[Body], **changes: Any) -> dict[tuple[str, str], FindingDocument]:
    """Return the findings by the two ends that they name, in the direction of the light."""
    found = judged(bodies, **changes).document["findings"]
    return {(one["from_site"], one["to_site"]): one for one in found}


def from_a(asked: Body, **settings: Any) -> FindingDocument:
    """Return the finding from A to B about traces with such settings."""
    return findings(both_ways(**settings), **{**BARE, **asked})[FORWARD]


# The route is 3000 m long, with its cords 500 and 300 m 3800 m.
@pytest.mark.parametrize(
    ("asked", "settings", "breach"),
    [
        ({"pulses": [{"up_to_m": 5000.0, "most_ns": 100}]}, {"pulse_ns": 99}, None),
        ({"pulses": [{"up_to_m": 5000.0, "most_ns": 100}]}, {"pulse_ns": 100}, None),
        (
            {"pulses": [{"up_to_m": 5000.0, "most_ns": 100}]},
            {"pulse_ns": 101},
            "pulse 101 ns, more than 100 ns for 3000.00 m of fibre",
        ),
        # The first bound that takes the length in, its end included, and none behind the last.
        ({"pulses": [{"up_to_m": 3000.0, "most_ns": 30}, {"up_to_m": 9000.0, "most_ns": 100}]}, {"pulse_ns": 30}, None),
        (
            {"pulses": [{"up_to_m": 3000.0, "most_ns": 30}, {"up_to_m": 9000.0, "most_ns": 100}]},
            {"pulse_ns": 31},
            "pulse 31 ns, more than 30 ns for 3000.00 m of fibre",
        ),
        (
            {"pulses": [{"up_to_m": 2999.99, "most_ns": 30}, {"up_to_m": 9000.0, "most_ns": 100}]},
            {"pulse_ns": 100},
            None,
        ),
        ({"pulses": [{"up_to_m": 2999.99, "most_ns": 30}]}, {"pulse_ns": 1000}, None),
        ({"least_averaging_s": 15.0}, {"averaging_s": 15.1}, None),
        ({"least_averaging_s": 15.0}, {"averaging_s": 15.0}, None),
        ({"least_averaging_s": 15.0}, {"averaging_s": 14.9}, "averaged 14.9 s, less than 15.0 s"),
        ({"most_loss_threshold_db": 0.01}, {"loss_threshold_db": 0.009}, None),
        ({"most_loss_threshold_db": 0.01}, {"loss_threshold_db": 0.01}, None),
        (
            {"most_loss_threshold_db": 0.01},
            {"loss_threshold_db": 0.011},
            "loss threshold 0.011 dB, more than 0.010 dB",
        ),
        ({"least_range_ratio": 1.25}, {"range_m": 4750.01}, None),
        ({"least_range_ratio": 1.25}, {"range_m": 4750.0}, None),
        (
            {"least_range_ratio": 1.25},
            {"range_m": 4749.99},
            "range 4749.99 m, less than 1.25 times the 3800.00 m to be shown",
        ),
        ({"most_range_ratio": 2.5}, {"range_m": 9499.99}, None),
        ({"most_range_ratio": 2.5}, {"range_m": 9500.0}, None),
        (
            {"most_range_ratio": 2.5},
            {"range_m": 9500.01},
            "range 9500.01 m, more than 2.50 times the 3800.00 m to be shown",
        ),
    ],
)
def test_a_setting_at_its_bound_conforms_and_one_step_beyond_does_not(
    asked: Body, settings: Body, breach: str | None
) -> None:
    finding = from_a(asked, **settings)
    if breach is None:
        assert finding["outcome"] == "conforming"
        assert finding["detail"].startswith("A to B at 1550 nm: pulse ")
    else:
        assert (finding["outcome"], finding["detail"]) == ("nonconforming", f"A to B at 1550 nm: {breach}")


def test_what_was_set_is_said_where_all_is_kept() -> None:
    assert from_a({"least_averaging_s": 15.0})["detail"] == (
        "A to B at 1550 nm: pulse 30 ns, averaged 30.0 s, loss threshold 0.020 dB, range 10000.00 m"
    )


@pytest.mark.parametrize(
    ("asked", "left_out", "named"),
    [
        ("group_index", "group_index", "group index"),
        ("dynamic_range", "dynamic_range", "dynamic range"),
        ("launch_cord", "launch_cord", "launch cord"),
        ("receive_cord", "receive_cord", "receive cord"),
    ],
)
def test_what_records_have_to_state_is_looked_for_in_each(asked: str, left_out: str, named: str) -> None:
    stated = [
        with_events({**trace, "dynamic_range": {"range_db": 40.0, "pulse_ns": 10_000, "averaging_s": 180.0}}, dict)
        for trace in both_ways()
    ]
    assert {one["outcome"] for one in findings(stated, **BARE, states=[asked]).values()} == {"conforming"}
    without = {name: value for name, value in stated[0].items() if name != left_out}
    if "cord" in left_out:
        # Without its cord a trace begins, or ends, at the connection itself.
        without = make_otdr(launch_m=0.0) if left_out == "launch_cord" else make_otdr(receive_m=0.0)
    both = findings([with_events(without, dict), stated[1]], **BARE, states=[asked])
    assert both[FORWARD]["outcome"] == "nonconforming"
    assert both[FORWARD]["detail"] == f"A to B at 1550 nm: no {named} stated"
    assert both[BACKWARD]["outcome"] == "conforming"


def test_all_that_is_not_as_agreed_is_said_at_once() -> None:
    finding = from_a({"pulses": [{"up_to_m": 5000.0, "most_ns": 100}], "least_averaging_s": 60.0}, pulse_ns=300)
    assert finding["detail"] == (
        "A to B at 1550 nm: pulse 300 ns, more than 100 ns for 3000.00 m of fibre, averaged 30.0 s, less than 60.0 s"
    )


def test_a_long_pulse_beside_a_short_one_breaks_nothing() -> None:
    traces = [*both_ways(pulse_ns=30, loss_threshold_db=0.01), *both_ways(pulse_ns=1000, loss_threshold_db=0.01)]
    assert {one["outcome"] for one in findings(traces).values()} == {"conforming"}


def test_one_trace_has_to_keep_all_of_it() -> None:
    # The short pulse is too dull, the sharp trace too long a pulse.
    traces = [*both_ways(pulse_ns=30, loss_threshold_db=0.05), *both_ways(pulse_ns=1000, loss_threshold_db=0.01)]
    finding = findings(traces)[FORWARD]
    assert (finding["outcome"], finding["detail"]) == (
        "nonconforming",
        "A to B at 1550 nm: loss threshold 0.050 dB, more than 0.010 dB",
    )


def test_each_direction_is_a_finding_of_its_own() -> None:
    there, _ = both_ways(loss_threshold_db=0.01)
    _, back = both_ways(loss_threshold_db=0.05)
    found = findings([there, back])
    assert [found[ends]["outcome"] for ends in (FORWARD, BACKWARD)] == ["conforming", "nonconforming"]


def test_without_a_trace_nothing_is_known() -> None:
    there, _ = both_ways(loss_threshold_db=0.01)
    found = findings([there])
    assert found[FORWARD]["outcome"] == "conforming"
    assert (found[BACKWARD]["outcome"], found[BACKWARD]["reason"]) == ("undetermined", "no_evidence")
    assert found[BACKWARD]["detail"] == "no OTDR trace B to A at 1550 nm"


def test_a_trace_that_does_not_count_proves_nothing_of_how_it_was_taken() -> None:
    traces = both_ways(loss_threshold_db=0.01, calibrated_until="2025-01-01")
    assert {one.get("reason") for one in findings(traces).values()} == {"calibration_run_out"}


def test_traces_of_spans_are_held_each_by_its_own_length() -> None:
    design = with_site(make_site("C2", kind="patch_panel", termination="factory_cord"), at=2)
    spans = [("A", "C2", 300), ("C2", "B", 30), ("C2", "A", 30), ("B", "C2", 30)]
    traces = [make_otdr(design=design, from_site=near, to_site=far, pulse_ns=pulse_ns) for near, far, pulse_ns in spans]
    # The 2000 m to the panel have a bound, the 1000 m behind it a shorter one.
    bounds = {**BARE, "pulses": [{"up_to_m": 1000.0, "most_ns": 30}, {"up_to_m": 2000.0, "most_ns": 100}]}
    found = findings(traces, design=design, **bounds)
    assert found[FORWARD]["detail"] == (
        "A to B at 1550 nm: from A to C2 pulse 300 ns, more than 100 ns for 2000.00 m of fibre"
    )
    assert found[BACKWARD]["detail"] == (
        "B to A at 1550 nm: from C2 to A pulse 30 ns, averaged 30.0 s, loss threshold 0.020 dB, range 10000.00 m; "
        "from B to C2 pulse 30 ns, averaged 30.0 s, loss threshold 0.020 dB, range 10000.00 m"
    )


def test_the_crew_tests_again_with_what_was_agreed() -> None:
    there, _ = both_ways(loss_threshold_db=0.05)
    _, back = both_ways(loss_threshold_db=0.01)
    item = only_item(judged([there, back]))
    assert (item["act"], where(item), criteria_behind(item)) == ("retest", "A-B", ["SETTINGS-1550"])
    assert because(item) == (
        "OTDR trace A to B at 1550 nm: loss threshold 0.050 dB, more than 0.010 dB: test again as agreed, and have the "
        "record state what is asked for."
    )
    assert records_behind(item) == [there["id"]]


def test_a_missing_trace_is_asked_for_by_the_criterion() -> None:
    there, _ = both_ways(loss_threshold_db=0.01)
    item = only_item(judged([there]))
    assert (item["act"], where(item), criteria_behind(item)) == ("test", "A-B", ["SETTINGS-1550"])


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        (BARE, "asks for nothing"),
        ({"pulses": [{"up_to_m": 5.0, "most_ns": 10}, {"up_to_m": 5.0, "most_ns": 30}]}, "do not rise"),
        ({"least_range_ratio": 2.0, "most_range_ratio": 1.99}, "above most_range_ratio"),
        ({"states": ["group_index", "group_index"]}, "something twice"),
    ],
)
def test_criteria_that_ask_for_nothing_or_contradict_themselves_are_refused(asked: Body, fault: str) -> None:
    with pytest.raises(ValidationError, match=fault):
        TraceSettingsCriterion.model_validate(settings_criterion(**asked))


def test_pulses_that_bound_nothing_on_a_route_are_reported() -> None:
    criteria = criteria_of(only(settings_criterion(**BARE | {"pulses": [{"up_to_m": 3000.0, "most_ns": 100}]})))
    assert attainability(layout_of(), criteria) == []
    longer = layout_of(make_design(sections=make_sections([1000.0, 1000.0, 1000.01])))
    [report] = attainability(longer, criteria)
    assert (report.severity.value, report.criteria) == ("questionable", ("SETTINGS-1550",))
    assert (
        report.detail == "bounds no pulse here: 3000.01 m of fibre are longer than the last bound takes in, 3000.00 m"
    )
