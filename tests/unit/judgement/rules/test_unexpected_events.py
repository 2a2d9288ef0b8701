"""Losses where the design has no joint, and the proof that there are none."""

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    in_two_segments,
    make_otdr,
    make_site,
    only,
    sealed,
    stray_criterion,
    with_event_from_a,
    with_events,
    with_site,
)
from tests.unit.judgement.judging import judge


def stray(from_a_m: float, loss_db: float | None, *, is_forward: bool = True, **changes: object) -> Body:
    """Return a trace with one more event so far from A."""
    event = {"kind": "reflective"} if loss_db is None else {"loss_db": loss_db}
    trace = make_otdr(**changes) if is_forward else back(**changes)  # type: ignore[arg-type]
    return with_event_from_a(trace, from_a_m, **event)


def back(**changes: object) -> Body:
    """Return a trace from B without any stray event."""
    return make_otdr(from_site="B", to_site="A", **changes)  # type: ignore[arg-type]


def strays(*bodies: Body, design: Body | None = None, **criterion: object) -> list[FindingDocument]:
    """Return the findings of one stray loss criterion; both closures are sealed before."""
    return judge([*sealed(), *bodies], design=design, criteria=only(stray_criterion(**criterion))).document["findings"]


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "value_db", "outcome"),
    [
        (0.1, 0.1, "0.1000", "conforming"),
        (0.15, 0.05, "0.1000", "conforming"),
        (0.15, 0.051, "0.1005", "nonconforming"),
    ],
)
def test_a_loss_that_both_directions_show_is_their_mean(
    forward_db: float, backward_db: float, value_db: str, outcome: str
) -> None:
    finding = strays(stray(1500.0, forward_db), stray(1500.0, backward_db, is_forward=False))[0]
    assert (finding["value"], finding["outcome"], finding["section"]) == (value_db, outcome, "S2")
    assert finding["detail"].startswith("1500.00 m from A, where no joint is: mean of")
    assert [reading["direction"] for reading in finding["readings"]] == ["a_to_b", "b_to_a"]


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.1, "conforming"), (0.101, "nonconforming")])
@pytest.mark.parametrize("is_forward", [True, False])
def test_a_loss_that_one_direction_shows_is_its_reading(loss_db: float, outcome: str, is_forward: bool) -> None:
    other = back() if is_forward else make_otdr()
    finding = strays(stray(1500.0, loss_db, is_forward=is_forward), other)[0]
    assert (finding["value"], finding["outcome"]) == (f"{loss_db:.4f}", outcome)
    assert finding["detail"].endswith("seen from one direction only")


@pytest.mark.parametrize(("apart_m", "values"), [(10.0, ["0.1000"]), (10.01, ["0.0600", "0.1400"])])
def test_events_within_the_tolerance_are_one_spot(apart_m: float, values: list[str]) -> None:
    findings = strays(stray(1500.0, 0.06), stray(1500.0 + apart_m, 0.14, is_forward=False), limit_db=0.2)
    assert [finding["value"] for finding in findings if "section" in finding] == values


def test_two_events_of_one_trace_are_two_spots() -> None:
    def twice(trace: Body) -> Body:
        [event] = [event for event in trace["events"] if event.get("loss_db") == 0.2]
        return with_events(trace, dict, added=[{**event, "distance_m": event["distance_m"] + 4}])

    findings = strays(twice(stray(1500.0, 0.2)), twice(stray(1504.0, 0.2, is_forward=False)))
    assert [finding["value"] for finding in findings] == ["0.2000", "0.2000"]
    assert [len(finding["readings"]) for finding in findings] == [2, 2]


def test_a_fibre_without_a_stray_loss_is_proven_clean() -> None:
    [finding] = strays(make_otdr(), back())
    assert (finding["outcome"], finding["from_site"], finding["to_site"]) == ("conforming", "A", "B")
    assert (finding["low"], finding["high"], finding["limit"]) == ("0.0000", "0.0200", "0.1000")
    assert len(finding["readings"]) == 2


@pytest.mark.parametrize(
    ("bodies", "outcome"),
    [
        ([stray(1500.0, 0.2)], "nonconforming"),
        ([stray(1500.0, None)], "conforming"),
        # In the launch cord.
        ([stray(-250.0, 0.5)], "conforming"),
        # From before the sealing.
        ([stray(1500.0, 0.5, pulse_ns=10, made_at="2025-03-04T08:00:00Z"), make_otdr()], "conforming"),
    ],
)
def test_a_fibre_with_a_loss_above_the_limit_of_its_own_and_final_is_not_called_clean(
    bodies: list[Body], outcome: str
) -> None:
    assert [finding["outcome"] for finding in strays(*bodies, back())] == [outcome]


def test_a_small_stray_loss_leaves_the_fibre_clean() -> None:
    findings = strays(stray(1500.0, 0.05), back())
    assert [(finding["outcome"], "section" in finding) for finding in findings] == [
        ("conforming", True),
        ("conforming", False),
    ]


@pytest.mark.parametrize(("threshold_db", "outcome"), [(0.1, "conforming"), (0.101, "undetermined")])
def test_a_fibre_is_clean_only_as_far_as_the_traces_could_see(threshold_db: float, outcome: str) -> None:
    [finding] = strays(make_otdr(loss_threshold_db=threshold_db), back(loss_threshold_db=threshold_db))
    assert finding["outcome"] == outcome


@pytest.mark.parametrize(
    ("bodies", "reason"),
    [
        ([], "no_evidence"),
        ([make_otdr()], "one_direction_only"),
        ([make_otdr(), back(wavelength_nm=1310)], "one_direction_only"),
        ([make_otdr(), back(made_at="2025-03-04T08:00:00Z")], "before_sealing"),
        ([make_otdr(to_site="C2"), back()], "one_direction_only"),
    ],
)
def test_without_the_traces_that_would_show_one_nothing_is_clean(bodies: list[Body], reason: str) -> None:
    [finding] = strays(*bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", reason)


def test_another_wavelength_shows_its_own_losses_only() -> None:
    other = [stray(1500.0, 0.5, wavelength_nm=1310), back(wavelength_nm=1310)]
    findings = strays(*other, make_otdr(), back())
    assert [finding["outcome"] for finding in findings] == ["conforming"]
    findings = strays(*other, make_otdr(), back(), wavelength_nm=1310)
    assert [finding["outcome"] for finding in findings] == ["nonconforming"]


def test_a_loss_is_paid_for_with_the_segment_that_it_lies_in() -> None:
    design = in_two_segments()
    for at_m, segment in ((500.0, "SEG1"), (1500.0, "SEG2")):
        [finding] = strays(stray(at_m, 0.5), stray(at_m, 0.5, is_forward=False), design=design)
        assert finding["segments"] == [segment]


def test_the_shortest_pulse_that_shows_a_spot_is_read() -> None:
    findings = strays(stray(1500.0, 0.3, pulse_ns=100), stray(1500.0, 0.05, pulse_ns=10), back())
    assert findings[0]["value"] == "0.0500"


def test_the_sharpest_trace_over_all_tells_how_clean_the_fibre_is() -> None:
    dull = [make_otdr(pulse_ns=300, loss_threshold_db=0.2), back(pulse_ns=300, loss_threshold_db=0.2)]
    [finding] = strays(*dull, make_otdr(), back())
    assert (finding["outcome"], finding["high"]) == ("conforming", "0.0200")


def test_of_traces_that_join_up_the_dullest_tells_how_clean_the_fibre_is() -> None:
    there = [make_otdr(to_site="C1"), make_otdr(from_site="C1", loss_threshold_db=0.2)]
    [finding] = strays(*there, back())
    assert (finding["outcome"], finding["high"]) == ("undetermined", "0.1100")


def test_a_loss_outside_the_spans_it_is_asked_for_is_not_judged() -> None:
    assert strays(stray(1500.0, 0.5), back(), applies_when={"least_span_m": 3000.01}) == []
    assert len(strays(stray(1500.0, 0.5), back(), applies_when={"least_span_m": 3000.0})) == 1


def test_a_loss_is_judged_only_in_the_spans_it_is_asked_for() -> None:
    design = with_site(make_site("C1", kind="patch_panel", termination="factory_cord"), at=1)
    twice = with_event_from_a(stray(500.0, 0.5, design=design), 1500.0, loss_db=0.5)
    findings = strays(twice, back(design=design), design=design, applies_when={"least_span_m": 2000.0})
    assert [finding["section"] for finding in findings] == ["S2"]


def test_a_loss_where_no_segment_has_the_fibre_is_not_judged() -> None:
    design = in_two_segments(fibres=[{"first": 2, "last": 12}])
    [finding] = strays(stray(1500.0, 0.5), back(), design=design)
    assert (finding["outcome"], finding["segments"], "section" in finding) == ("conforming", ["SEG1"], False)
