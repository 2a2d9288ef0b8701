"""Return loss at each end, as measured and as worked out from a trace."""

from collections.abc import Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    make_cleaning,
    make_design,
    make_otdr,
    make_return_loss,
    make_sections,
    required_test_criterion,
    return_loss_criterion,
    sealed,
    stored,
    with_events,
)
from tests.unit.judgement.judging import finding_by
from worker.judgement.history.evidence import Evidence

AFTER_TEST = "2025-03-25T08:00:00Z"


def at(site: str, bodies: Sequence[Body | Evidence], *, design: Body | None = None, **changes: Any) -> FindingDocument:
    """Return the finding at one end, where 35 dB are asked for."""
    return finding_by(return_loss_criterion(**{"limit_db": 35.0, **changes}), bodies, site=site, design=design)


def two_way(at_a_db: float, at_b_db: float, **changes: Any) -> list[Body]:
    """Return the return loss measured at each end after sealing."""
    return [
        *sealed(),
        make_return_loss(return_loss_db=at_a_db, **changes),
        make_return_loss(from_site="B", to_site="A", return_loss_db=at_b_db, **changes),
    ]


@pytest.mark.parametrize(
    ("return_loss_db", "outcome", "margin"),
    [(35.0, "conforming", "0.0000"), (34.999, "nonconforming", "-0.0010"), (35.001, "conforming", "0.0010")],
)
def test_the_limit_is_the_least_that_is_allowed(return_loss_db: float, outcome: str, margin: str) -> None:
    finding = at("A", two_way(return_loss_db, 50.0))
    assert (finding["outcome"], finding["margin"], finding["limit_is"]) == (outcome, margin, "least")
    assert (finding["value"], finding["unit"]) == (f"{return_loss_db:.4f}", "dB")
    assert "position" not in finding


def test_the_two_ends_are_never_averaged() -> None:
    bodies = two_way(30.0, 50.0)
    assert at("A", bodies)["outcome"] == "nonconforming"
    assert at("B", bodies)["outcome"] == "conforming"
    assert [reading["value"] for reading in at("B", bodies)["readings"]] == ["50.000"]


@pytest.mark.parametrize(
    ("decision", "return_loss_db", "outcome"),
    [("guarded", 36.0, "conforming"), ("guarded", 35.999, "nonconforming"), ("four_way", 35.0, "conforming")],
)
def test_the_guard_band_lies_above_the_least(decision: str, return_loss_db: float, outcome: str) -> None:
    assert at("A", two_way(return_loss_db, 50.0), decision=decision, uncertainty_db=1.0)["outcome"] == outcome


@pytest.mark.parametrize(
    ("qualifier", "return_loss_db", "outcome"),
    [
        ("gt", 35.0, "conforming"),
        ("gt", 34.999, "undetermined"),
        ("lt", 34.999, "nonconforming"),
        ("lt", 35.0, "undetermined"),
    ],
)
def test_a_bound_counts_as_one(qualifier: str, return_loss_db: float, outcome: str) -> None:
    finding = at("A", two_way(return_loss_db, 50.0, qualifier=qualifier))
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("bound_too_wide" if outcome == "undetermined" else None)
    assert "value" not in finding
    known = "low" if qualifier == "gt" else "high"
    assert finding[known] == f"{return_loss_db:.4f}"  # type: ignore[literal-required]


def test_one_end_measured_says_nothing_of_the_other() -> None:
    bodies = two_way(50.0, 50.0)[:-1]
    assert at("A", bodies)["outcome"] == "conforming"
    finding = at("B", bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")
    assert finding["detail"] == "no return loss test B to A at 1550 nm"


@pytest.mark.parametrize(
    ("asked", "recorded", "reason"),
    [("absorbed", "absorbed", None), ("absorbed", "open", "far_end_unlike"), (None, "open", None)],
)
def test_the_far_end_has_to_be_as_asked_for(asked: str | None, recorded: str, reason: str | None) -> None:
    finding = at("A", two_way(50.0, 50.0, far_end=recorded), far_end=asked)
    assert finding.get("reason") == reason
    assert (finding["outcome"] == "undetermined") is (reason is not None)


@pytest.mark.parametrize(("cleaned_at", "reason"), [(AFTER_TEST, "before_cleaning"), ("2025-03-01T08:00:00Z", None)])
@pytest.mark.parametrize("cleaned", ["A", "B"])
def test_cleaning_either_connection_voids_what_was_measured_before(
    cleaned: str, cleaned_at: str, reason: str | None
) -> None:
    assert at("A", [*two_way(50.0, 50.0), make_cleaning(site=cleaned, made_at=cleaned_at)]).get("reason") == reason


def test_a_withdrawn_measurement_is_shown_and_does_not_count() -> None:
    *lids, there, back = two_way(50.0, 50.0)
    finding = at("A", [*lids, stored(there, is_ended=True), back])
    assert (finding["reason"], finding["readings"]) == ("no_evidence", [])
    assert finding["void"] == [{"record": there["id"], "reason": "replaced_or_withdrawn"}]


def test_an_instrument_out_of_calibration_measures_nothing() -> None:
    run_out = {"serial": "RL-1", "calibrated_until": "2025-03-19"}
    assert at("A", two_way(50.0, 50.0, instrument=run_out))["reason"] == "calibration_run_out"


def test_return_loss_can_be_a_required_test() -> None:
    criterion = required_test_criterion(code="ORL-TEST", test="return_loss")
    assert finding_by(criterion, two_way(10.0, 10.0))["outcome"] == "conforming"
    missing = finding_by(criterion, two_way(10.0, 10.0)[:-1])
    assert (missing["outcome"], missing["detail"]) == ("undetermined", "no return loss test B to A at 1550 nm")


def glass(trace: Body, **reflectances_db: float | Body) -> Body:
    """Return a trace that states 0.2 dB/km everywhere and a reflectance where one is given, by site; else none."""
    sites = iter(["A", "C1", "C2", "B"] if trace["from_site"] == "A" else ["B", "C2", "C1", "A"])

    def state(event: Body) -> Body:
        own = reflectances_db.get(next(sites, ""))
        stated = own if isinstance(own, dict) else {} if own is None else {"kind": "reflective", "reflectance_db": own}
        return {
            **event,
            "kind": "end" if event["kind"] == "end" else "non_reflective",
            "attenuation_db_per_km": 0.2,
            **stated,
        }

    return with_events(trace, state)


def computed(site: str, *, design: Body | None = None, far_end: str | None = None, **changes: Any) -> FindingDocument:
    """Return the finding worked out at one end from traces made with changes, the reflectances apart."""
    reflectances_db = changes.pop("reflectances_db", {})
    traces = [glass(trace, **reflectances_db) for trace in both_ways(**changes)]
    return at(site, [*sealed(), *traces], design=design, basis="computed", far_end=far_end)


# One reflection of -40 dB at A through no loss, and 10^-4 of power are 40 dB; the glass adds little at -120 dB.
DARK: Body = {"backscatter_db": -120.0}


def test_a_connection_reflects_before_it_loses() -> None:
    finding = computed("A", reflectances_db={"A": -40.0}, **DARK)
    assert float(finding["value"]) == pytest.approx(40.0, abs=0.002)
    assert finding["detail"] == "worked out from 1 reflection and 3000.00 m of fibre, the far end sending nothing back"


def test_a_reflection_behind_loss_comes_back_weaker_by_twice_that_loss() -> None:
    # 0.30 dB at A, 0.04 dB in C1, 2 km at 0.2 dB/km: 0.74 dB one way, 1.48 dB there and back.
    finding = computed("A", reflectances_db={"C2": -40.0}, **DARK)
    assert float(finding["value"]) == pytest.approx(41.48, abs=0.002)
    # From B only 0.30 dB and 1 km lie before it.
    finding = computed("B", reflectances_db={"C2": -40.0}, **DARK)
    assert float(finding["value"]) == pytest.approx(41.0, abs=0.002)


def test_the_limit_holds_for_what_is_worked_out() -> None:
    value = computed("A", reflectances_db={"A": -40.0}, **DARK)["value"]
    traces = [glass(trace, A=-40.0) for trace in both_ways(**DARK)]
    for limit_db, outcome in ((39.0, "conforming"), (41.0, "nonconforming")):
        finding = at("A", [*sealed(), *traces], basis="computed", limit_db=limit_db)
        assert (finding["value"], finding["outcome"], finding["limit_is"]) == (value, outcome, "least")


def test_an_open_far_end_sends_back_what_flat_glass_does() -> None:
    # 0.30 + 0.04 + 0.04 dB and 3 km at 0.2 dB/km before it: -14.72 - 1.96 dB.
    finding = computed("A", far_end="open", **DARK)
    assert float(finding["value"]) == pytest.approx(14.72 + 1.96, abs=0.01)
    assert "the far end open" in finding["detail"]
    for far_end in ("angled", "absorbed", None):
        assert float(computed("A", far_end=far_end, reflectances_db={"A": -40.0}, **DARK)["value"]) > 39.9


def test_each_section_loses_by_its_own_length_and_coefficient() -> None:
    design = make_design(sections=make_sections([1000.0, 1000.0, 10_000.0]))
    # From B: 10 km and 1 km at 0.2 dB/km, then 1 km at 1.0 dB/km; 0.38 dB of joints.
    traces = [glass(trace, A={"attenuation_db_per_km": 1.0}) for trace in both_ways(design=design, **DARK)]
    finding = at("B", [*sealed(), *traces], design=design, basis="computed", far_end="open")
    assert float(finding["value"]) == pytest.approx(14.72 + 2 * (2.2 + 1.0 + 0.38), abs=0.01)


def test_an_open_far_end_takes_the_place_of_the_far_connection() -> None:
    without = computed("A", far_end="open", **DARK)
    assert computed("A", far_end="open", reflectances_db={"B": -20.0}, **DARK)["value"] == without["value"]


@pytest.mark.parametrize(
    ("event", "outcome"),
    [
        ({"kind": "saturated", "reflectance_db": -50.0}, "undetermined"),
        ({"kind": "saturated", "reflectance_db": -30.0}, "nonconforming"),
        ({"kind": "reflective", "reflectance_db": -50.0, "reflectance_qualifier": "gt"}, "undetermined"),
        ({"kind": "reflective", "reflectance_db": -50.0, "reflectance_qualifier": "lt"}, "conforming"),
        ({"kind": "reflective", "reflectance_db": -30.0, "reflectance_qualifier": "lt"}, "undetermined"),
    ],
)
def test_a_reflectance_that_is_a_bound_makes_the_return_loss_one(event: Body, outcome: str) -> None:
    finding = computed("A", reflectances_db={"A": event}, **DARK)
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("bound_too_wide" if outcome == "undetermined" else None)
    assert float(finding["low"]) < float(finding["high"])


@pytest.mark.parametrize(
    ("site", "event", "reason"),
    [
        ("C1", {"kind": "reflective"}, "reflectance_not_stated"),
        ("C1", {"attenuation_db_per_km": -0.01}, "below_fibre_alone"),
        # At C1 the next event states the fibre that leads up to it, over both sections; behind B there is none.
        ("C1", {"attenuation_db_per_km": None}, None),
        ("B", {"attenuation_db_per_km": None}, "coefficient_not_stated"),
        # What lies behind an event without a loss is unknown.
        ("C1", {"loss_db": None}, "loss_not_stated"),
    ],
)
def test_what_a_trace_does_not_state_is_not_made_up(site: str, event: Body, reason: str | None) -> None:
    finding = computed("A", reflectances_db={site: event}, **DARK)
    assert (finding["outcome"] == "undetermined", finding.get("reason")) == (reason is not None, reason)


@pytest.mark.parametrize(
    ("cords", "far_end", "reason"),
    [
        ({"launch_m": 0.0}, None, "no_cord"),
        ({"launch_m": 0.0}, "open", "no_cord"),
        ({"receive_m": 0.0}, "absorbed", "no_cord"),
        ({"receive_m": 0.0}, "open", None),
    ],
)
def test_an_end_connection_without_a_cord_was_not_measured(cords: Body, far_end: str, reason: str | None) -> None:
    # An open far end has no connection; the trace's end then states the last section.
    trace = with_events(
        make_otdr(**cords), lambda event: {**event, "attenuation_db_per_km": 0.2, "reflectance_db": -60.0}
    )
    assert at("A", [*sealed(), trace], basis="computed", far_end=far_end).get("reason") == reason


def test_a_trace_that_stops_short_adds_up_to_nothing() -> None:
    short = make_otdr(events=[{"distance_m": 2000.0, "kind": "end"}])
    assert at("A", [*sealed(), short], basis="computed")["reason"] == "beyond_reach"
    assert at("B", [*sealed(), short], basis="computed")["reason"] == "no_evidence"


def test_spans_that_join_up_are_not_one_trace() -> None:
    spans = [make_otdr(from_site=start, to_site=end) for start, end in (("A", "C1"), ("C1", "B"))]
    finding = at("A", [*sealed(), *spans], basis="computed")
    assert finding["reason"] == "no_evidence"
    assert finding["detail"] == "no OTDR trace A to B at 1550 nm runs from end to end"


def test_a_route_of_no_length_is_judged_too() -> None:
    design = make_design(sections=make_sections([0.0] * 3))
    traces = [glass(trace) for trace in both_ways(design=design)]
    finding = at("A", [*sealed(), *traces], design=design, basis="computed")
    assert finding["outcome"] == "undetermined"
    assert finding["reason"]
