"""Losses where the design has no joint, and the proof that there are none."""

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    in_two_segments,
    make_closure_state,
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
from tests.unit.judgement.traces.doubts.test_crossed import CLOSURES, reversed_trace, uneven_design


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


@pytest.mark.parametrize(
    ("loss_db", "bounds_db", "outcome"),
    # The other direction's trace has a threshold of 0.02 dB: the mean is within half of that of half the reading.
    [
        (0.18, ("0.0800", "0.1000"), "conforming"),
        (0.181, ("0.0805", "0.1005"), "undetermined"),
        (0.22, ("0.1000", "0.1200"), "undetermined"),
        (0.221, ("0.1005", "0.1205"), "nonconforming"),
    ],
)
@pytest.mark.parametrize("is_forward", [True, False])
def test_a_loss_that_one_direction_shows_is_known_within_the_others_threshold(
    loss_db: float, bounds_db: tuple[str, str], outcome: str, is_forward: bool
) -> None:
    other = back() if is_forward else make_otdr()
    finding = strays(stray(1500.0, loss_db, is_forward=is_forward), other)[0]
    assert (finding["low"], finding["high"]) == bounds_db
    assert finding["outcome"] == outcome
    assert "a loss not seen, within 0.020 dB of zero" in finding["detail"]
    assert finding.get("reason") == ("bound_too_wide" if outcome == "undetermined" else None)


@pytest.mark.parametrize(
    ("apart_m", "bounds_db"),
    [(10.0, [("0.1000", "0.1000")]), (10.01, [("0.0200", "0.0400"), ("0.0600", "0.0800")])],
)
def test_events_within_the_tolerance_are_one_spot(apart_m: float, bounds_db: list[tuple[str, str]]) -> None:
    findings = strays(stray(1500.0, 0.06), stray(1500.0 + apart_m, 0.14, is_forward=False), limit_db=0.2)
    found = [finding for finding in findings if "section" in finding]
    assert [(one.get("low", one.get("value")), one.get("high", one.get("value"))) for one in found] == bounds_db


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
        ([stray(1500.0, 0.3)], "nonconforming"),
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
    assert (findings[0]["low"], findings[0]["high"]) == ("0.0150", "0.0350")


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


def test_an_event_without_a_loss_is_unknown_and_not_none() -> None:
    # At 1500 m it would lie where the launch cord's connection makes an echo, four times 500 m from the port.
    [finding] = strays(stray(1530.0, None), back())
    assert (finding["outcome"], finding["reason"], finding["section"]) == ("undetermined", "loss_not_stated", "S2")
    assert "1530.00 m from A" in finding["detail"]


def test_a_longer_pulse_that_states_the_loss_states_it() -> None:
    findings = strays(stray(1530.0, None), stray(1530.0, 0.5, pulse_ns=300), back())
    assert findings[0]["outcome"] == "nonconforming"


@pytest.mark.parametrize(
    ("bodies", "reason"),
    [
        ([], "one_direction_only"),
        ([back(made_at="2025-03-04T08:00:00Z")], "before_sealing"),
        ([back(wavelength_nm=1310)], "one_direction_only"),
    ],
)
def test_a_loss_that_nobody_looked_for_from_the_other_end_accuses_nobody(bodies: list[Body], reason: str) -> None:
    [finding] = strays(stray(1500.0, 0.5), *bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", reason)
    assert finding["detail"].startswith("1500.00 m from A, where no joint is: 0.500 dB (A to B) and ")


def shifted(trace: Body, *, by_m: float) -> Body:
    """Return a trace as behind a launch cord that is longer than it says: its joints lie elsewhere."""
    return with_events(trace, lambda event: {**event, "distance_m": round(event["distance_m"] + by_m, 2)})


def stretched(trace: Body, *, by: float) -> Body:
    """Return a trace as with a group index that is off."""
    return with_events(trace, lambda event: {**event, "distance_m": round(event["distance_m"] * by, 2)})


def without(trace: Body, *, at_m: float) -> Body:
    """Return a trace without what it shows so far from the port."""
    return {**trace, "events": [event for event in trace["events"] if event["distance_m"] != at_m]}


FAR_OFF = 0.5


@pytest.mark.parametrize(
    ("there", "reason"),
    [
        # Joints 60 m from where they are designed, longer than the other end says, or than any index makes it; a far
        # connection that is not where the cord says.
        (shifted(stray(1500.0, FAR_OFF), by_m=60.0), "lengths_disagree"),
        (without(stray(1500.0, FAR_OFF), at_m=3500.0), "pair_not_seen"),
        (stretched(stray(1500.0, FAR_OFF), by=1.015), "lengths_disagree"),
        (stretched(stray(1500.0, FAR_OFF), by=1.2), "length_unlike"),
    ],
)
def test_a_loss_on_a_trace_whose_distances_are_in_doubt_accuses_nobody(there: Body, reason: str) -> None:
    for bodies in ([there, back()], [there, stray(1500.0, FAR_OFF, is_forward=False)]):
        findings = strays(*bodies)
        assert {finding["outcome"] for finding in findings} == {"undetermined"}
        assert reason in {finding["reason"] for finding in findings}


def test_losses_on_a_trace_that_fits_no_joint_accuse_nobody() -> None:
    # More losses on nothing than joints: the trace fits the design nowhere.
    there = make_otdr()
    for at_m in (300.0, 600.0, 1400.0, 1600.0, 2300.0, 2600.0):
        there = with_event_from_a(there, at_m, loss_db=FAR_OFF)
    [finding] = strays(there, back())
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "ambiguous_event")


def test_losses_on_a_trace_that_is_likelier_another_fibres_accuse_nobody() -> None:
    design = uneven_design()
    closures = [make_closure_state(site=site) for site in CLOSURES]
    findings = judge(
        [*closures, reversed_trace(design), back(design=design)], design=design, criteria=only(stray_criterion())
    ).document["findings"]
    assert {(finding["outcome"], finding["reason"]) for finding in findings} == {("undetermined", "route_reversed")}


def broken_at(from_a_m: float, *, loss_at_m: float) -> Body:
    """Return a trace that ends where a fibre is broken, with a loss before that."""
    there = with_event_from_a(make_otdr(), loss_at_m, loss_db=FAR_OFF)
    return {**there, "events": ended_at(there["events"], 500.0 + from_a_m), "length_m": 500.0 + from_a_m}


def ended_at(events: list[Body], at_m: float) -> list[Body]:
    return [*(one for one in events if one["distance_m"] < at_m), {"distance_m": at_m, "kind": "end"}]


@pytest.mark.parametrize(("loss_at_m", "sections"), [(1500.0, ["S2"]), (1689.0, ["S2"]), (1691.0, [])])
def test_a_trace_that_stops_short_shows_what_is_certainly_before_its_end(loss_at_m: float, sections: list[str]) -> None:
    # Ended at 1700 m, with a tolerance of 10 m.
    there = broken_at(1700.0, loss_at_m=loss_at_m)
    findings = strays(there, stray(loss_at_m, FAR_OFF, is_forward=False))
    assert [finding["section"] for finding in findings if finding["outcome"] == "nonconforming"] == sections


def test_what_a_shorter_wavelength_does_not_show_takes_nothing_from_a_longer_one() -> None:
    alone = strays(stray(1500.0, 0.221), back())[0]
    beside = strays(stray(1500.0, 0.221), back(), make_otdr(wavelength_nm=1310), back(wavelength_nm=1310))[0]
    named = ("outcome", "low", "high", "detail")
    assert [alone[name] for name in named] == [beside[name] for name in named]  # type: ignore[literal-required]


@pytest.mark.parametrize(("within_db", "reason"), [(0.5, "noise_not_known"), (10.0, None)])
def test_what_noise_may_hide_so_far_away_is_not_seen_not_to_be_there(within_db: float, reason: str | None) -> None:
    criteria = only(stray_criterion(), placing={"unseen_within_db": within_db})
    judged = judge([*sealed(), stray(1500.0, 0.5), back()], criteria=criteria)
    finding = judged.document["findings"][0]
    assert finding.get("reason") == reason
    assert finding["outcome"] == ("nonconforming" if reason is None else "undetermined")
