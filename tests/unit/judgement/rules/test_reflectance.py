"""What joints send back, held against a limit: values, bounds, reflections cut off, and what shows none."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    make_design,
    make_otdr,
    make_site,
    make_terminal,
    only,
    reflectance_criterion,
    sealed,
    with_event_from_a,
    with_events,
    with_site,
)
from tests.unit.judgement.judging import because, finding_by, finding_of, judge, only_item, where
from worker.physics.reflectance import event_reflectance_db

AT_A_M = {True: 500.0, False: 3300.0}
AT_C1_M = {True: 1500.0, False: 2300.0}
GRADED = -55.0


def reflecting(*, is_forward: bool, at_m: dict[bool, float], design: Body | None = None, **event: object) -> Body:
    """Return a trace whose event at one site is changed so; its other reflections are of -55 dB."""
    ends = ("A", "B") if is_forward else ("B", "A")
    trace = make_otdr(from_site=ends[0], to_site=ends[1], design=design)

    def change(posted: Body) -> Body:
        if posted["distance_m"] == at_m[is_forward]:
            return {**posted, **event}
        return {**posted, "reflectance_db": GRADED} if posted["kind"] == "reflective" else posted

    return with_events(trace, change)


def shown(forward: Body, backward: Body, *, at_m: dict[bool, float], design: Body | None = None) -> list[Body]:
    """Return both directions, each with its event at one site."""
    return [
        *sealed(),
        reflecting(is_forward=True, at_m=at_m, design=design, **forward),
        reflecting(is_forward=False, at_m=at_m, design=design, **backward),
    ]


def said(bodies: list[Body], *, site: str = "A", design: Body | None = None, **criterion: Any) -> FindingDocument:
    """Return what one criterion says of a site."""
    return finding_by(reflectance_criterion(**criterion), bodies, site=site, design=design)


def at_a(forward: Body, backward: Body, *, design: Body | None = None, **criterion: Any) -> FindingDocument:
    """Return what is said of the pair at A where the two directions show these events."""
    return said(shown(forward, backward, at_m=AT_A_M, design=design), design=design, **criterion)


def at_c1(forward: Body, backward: Body, **criterion: Any) -> FindingDocument:
    """Return what is said of the splice at C1 where the two directions show these events."""
    return said(shown(forward, backward, at_m=AT_C1_M), site="C1", joint="splice", **criterion)


def of(reflectance_db: float, qualifier: str = "eq", **changes: object) -> Body:
    """Return what an event says of its reflectance."""
    return {"reflectance_db": reflectance_db, "reflectance_qualifier": qualifier, **changes}


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "value_db", "outcome"),
    [
        (-50.0, -50.0, "-50.0000", "conforming"),
        (-50.001, -60.0, "-50.0010", "conforming"),
        (-60.0, -50.0, "-50.0000", "conforming"),
        (-49.999, -60.0, "-49.9990", "nonconforming"),
        (-60.0, -49.999, "-49.9990", "nonconforming"),
    ],
)
def test_the_worse_direction_is_held_against_the_limit(
    forward_db: float, backward_db: float, value_db: str, outcome: str
) -> None:
    finding = at_a(of(forward_db), of(backward_db))
    assert (finding["value"], finding["outcome"], finding["position"]) == (value_db, outcome, 1)
    assert [reading["value"] for reading in finding["readings"]] == [f"{forward_db:.3f}", f"{backward_db:.3f}"]


@pytest.mark.parametrize(
    ("bound_db", "qualifier", "outcome"),
    [
        (-50.0, "lt", "conforming"),
        (-49.999, "lt", "undetermined"),
        (-50.0, "gt", "undetermined"),
        (-60.0, "gt", "undetermined"),
        (-49.999, "gt", "nonconforming"),
    ],
)
def test_a_qualified_reflectance_is_a_bound(bound_db: float, qualifier: str, outcome: str) -> None:
    finding = at_a(of(bound_db, qualifier), of(-55.0))
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("bound_too_wide" if outcome == "undetermined" else None)


@pytest.mark.parametrize(
    ("bound_db", "outcome", "reason"),
    [(-70.0, "undetermined", "saturated"), (-50.0, "undetermined", "saturated"), (-49.999, "nonconforming", None)],
)
def test_a_reflection_cut_off_never_conforms(bound_db: float, outcome: str, reason: str | None) -> None:
    finding = at_a(of(bound_db, kind="saturated"), of(-55.0))
    assert (finding["outcome"], finding.get("reason")) == (outcome, reason)


def test_a_reflection_cut_off_does_not_even_keep_a_limit_of_zero() -> None:
    assert at_a(of(-40.0, kind="saturated"), of(-55.0), limit_db=0.0)["reason"] == "saturated"


def test_a_reflection_cut_off_without_a_figure_is_undetermined() -> None:
    assert at_a({"kind": "saturated"}, of(-55.0))["reason"] == "saturated"


def test_a_reflection_without_a_figure_is_undetermined_unless_the_other_direction_is_over() -> None:
    assert at_a({"kind": "reflective"}, of(-50.0))["reason"] == "reflectance_not_stated"
    assert at_a({"kind": "reflective"}, of(-49.999))["outcome"] == "nonconforming"


@pytest.mark.parametrize(("reflectance_db", "outcome"), [(-55.0, "undetermined"), (-49.999, "nonconforming")])
def test_one_direction_may_break_the_limit_and_never_keeps_it(reflectance_db: float, outcome: str) -> None:
    trace = reflecting(is_forward=True, at_m=AT_A_M, **of(reflectance_db))
    finding = said([*sealed(), trace])
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("one_direction_only" if outcome == "undetermined" else None)


def test_no_trace_is_no_evidence() -> None:
    finding = said(sealed())
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")


def test_a_pair_that_was_not_seen_is_undetermined() -> None:
    finding = said([*sealed(), *both_ways(losses_db={"A": None})])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "pair_not_seen")


def test_a_longer_pulse_that_is_cut_off_is_outdone_by_a_shorter_one_that_is_not() -> None:
    forward = reflecting(is_forward=True, at_m=AT_A_M, **of(-45.0, kind="saturated"))
    longer = {**forward, "pulse_ns": 300, "id": "00000000-0000-4000-8000-000000000001"}
    outdone = [longer, *shown(of(-44.0), of(-55.0), at_m=AT_A_M)]
    assert said(outdone, limit_db=-44.0)["value"] == "-44.0000"
    contradicted = [longer, *shown(of(-45.001), of(-55.0), at_m=AT_A_M)]
    assert said(contradicted, limit_db=-44.0)["reason"] == "saturated"
    over = said(contradicted, limit_db=-46.0)
    assert (over["outcome"], over["low"], over["high"]) == ("nonconforming", "-45.0000", "0.0000")


def test_of_several_traces_the_worst_counts() -> None:
    forward = reflecting(is_forward=True, at_m=AT_A_M, **of(-49.9))
    longer = {**forward, "pulse_ns": 300, "id": "00000000-0000-4000-8000-000000000001"}
    finding = said([longer, *shown(of(-55.0), of(-55.0), at_m=AT_A_M)])
    assert (finding["value"], finding["outcome"]) == ("-49.9000", "nonconforming")
    assert len(finding["readings"]) == 3


def test_a_fusion_splice_shows_none_above_what_the_trace_could_see() -> None:
    finding = at_c1({}, {})
    # A trace of 30 ns, threshold 0.02 dB, coefficient -81.5 dB; the formula is the physics' own, from memory there.
    most_db = float(event_reflectance_db(height_db=0.02, backscatter_coefficient_db=-81.5, pulse_ns=30))
    assert finding["outcome"] == "conforming"
    assert float(finding["high"]) == pytest.approx(most_db, abs=5e-5)
    assert float(finding["high"]) == pytest.approx(-87.06, abs=0.01)


@pytest.mark.parametrize(("limit_db", "outcome"), [(-87.06, "conforming"), (-87.07, "undetermined")])
def test_none_is_shown_only_down_to_what_the_trace_could_see(limit_db: float, outcome: str) -> None:
    unseen = [*sealed(), *both_ways(losses_db={"C1": None})]
    assert said(unseen, site="C1", joint="splice", limit_db=limit_db)["outcome"] == outcome
    assert at_c1({}, {}, limit_db=limit_db)["outcome"] == outcome


@pytest.mark.parametrize(("reflectance_db", "outcome"), [(-50.0, "conforming"), (-49.999, "nonconforming")])
def test_a_splice_that_reflects_is_held_against_the_limit(reflectance_db: float, outcome: str) -> None:
    assert at_c1(of(reflectance_db, kind="reflective"), {})["outcome"] == outcome


@pytest.mark.parametrize(("reflectance_db", "outcome"), [(-50.0, "conforming"), (-49.999, "undetermined")])
def test_a_group_proves_its_splice_or_nothing_for_the_pair_is_what_reflects(
    reflectance_db: float, outcome: str
) -> None:
    finding = at_a(of(reflectance_db), of(-55.0), joint="splice")
    assert (finding["outcome"], finding["position"]) == (outcome, 2)
    assert finding.get("reason") == ("group_only" if outcome == "undetermined" else None)


def test_two_pairs_in_one_panel_are_not_told_apart() -> None:
    design = with_site(make_site("C1", kind="patch_panel", termination="pigtail", patch_cord=True), at=1)
    bodies = shown(of(-49.9), of(-55.0), at_m=AT_C1_M, design=design)
    judgement = judge(bodies, design=design, criteria=only(reflectance_criterion()))
    findings = [finding for finding in judgement.document["findings"] if finding["site"] == "C1"]
    assert [finding.get("reason") for finding in findings] == ["group_only", "group_only"]


def test_events_seen_apart_in_a_group_are_worst_taken_together() -> None:
    forward = reflecting(is_forward=True, at_m=AT_A_M, **of(-55.0))
    splice = {"distance_m": 503.0, "kind": "reflective", "loss_db": 0.05, "reflectance_db": -49.9}
    bodies = [
        *sealed(),
        with_events(forward, lambda event: event, added=[splice]),
        reflecting(is_forward=False, at_m=AT_A_M, **of(-55.0)),
    ]
    assert said(bodies)["value"] == "-49.9000"


def test_a_bare_pair_is_judged_alone() -> None:
    design = with_site(make_terminal("A", termination="factory_cord"), at=0)
    assert at_a(of(-49.999), of(-55.0), design=design)["outcome"] == "nonconforming"


def test_other_joints_have_no_finding() -> None:
    sites = [finding["site"] for finding in judge([], criteria=only(reflectance_criterion())).document["findings"]]
    assert sites == ["A", "B"]


def test_two_pairs_in_one_dead_zone_are_not_told_apart() -> None:
    design = make_design(closures=1)
    design["sites"][0] = make_terminal("A", termination="factory_cord")
    design["sites"][1] = make_site("C1", kind="patch_panel", termination="factory_cord")
    design["sections"][0]["cable_length_m"] = 5.0
    # From A the first pair hides the second, from B the second the first.
    bodies = [
        reflecting(is_forward=is_forward, at_m=at_m, design=design, **of(-49.9))
        for is_forward, at_m in ((True, {True: 500.0}), (False, {False: 1300.0}))
    ]
    hidden = {505.0, 1305.0}
    bodies = [with_events(body, lambda event: None if event["distance_m"] in hidden else event) for body in bodies]
    judgement = judge(bodies, design=design, criteria=only(reflectance_criterion()))
    assert [finding_of(judgement, "REFL-1550", site=site)["reason"] for site in ("A", "C1")] == ["group_only"] * 2


EVENT_M = 1400.0


def of_events(*bodies: Body, **criterion: Any) -> dict[str | None, FindingDocument]:
    """Return what a criterion about every event says, by site or section."""
    asked = {**reflectance_criterion(**criterion)}
    del asked["joint"]
    findings = judge([*sealed(), *bodies], criteria=only(asked)).document["findings"]
    return {finding.get("site", finding.get("section")): finding for finding in findings}


def with_reflection(reflectance_db: float | None, *, is_forward: bool = True, **event: object) -> Body:
    """Return a trace with one more reflection, on no joint, its connections at -55 dB."""
    trace = reflecting(is_forward=is_forward, at_m={is_forward: -1.0})
    if reflectance_db is None:
        return trace
    shown: Body = {"kind": "reflective", "reflectance_db": reflectance_db, "loss_db": 0.0, **event}
    return with_event_from_a(trace, EVENT_M, **shown)


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "value_db", "outcome"),
    [
        (-50.001, -60.0, "-50.0010", "conforming"),
        (-50.0, -50.0, "-50.0000", "conforming"),
        (-60.0, -49.999, "-49.9990", "nonconforming"),
        # What one direction alone shows is known to reflect so much.
        (-49.999, None, "-49.9990", "nonconforming"),
        (-50.0, None, "-50.0000", "conforming"),
    ],
)
def test_what_reflects_on_no_joint_is_held_too(
    forward_db: float, backward_db: float | None, value_db: str, outcome: str
) -> None:
    back = with_reflection(backward_db, is_forward=False)
    found = of_events(with_reflection(forward_db), back)
    assert (found["S2"]["value"], found["S2"]["outcome"]) == (value_db, outcome)
    assert found["S2"]["detail"].startswith("1400.00 m from A, where no joint is: the worse of")


def test_each_place_has_one_finding_whatever_lies_there() -> None:
    found = of_events(*both_ways())
    assert list(found) == ["A", "C1", "C2", "B"]
    assert [one["position"] for one in found.values()] == [1, 1, 1, 2]


@pytest.mark.parametrize(("reflectance_db", "outcome"), [(-50.0, "conforming"), (-49.999, "nonconforming")])
def test_a_splice_that_reflects_is_held_as_an_event(reflectance_db: float, outcome: str) -> None:
    bodies = shown(of(reflectance_db, kind="reflective"), of(-60.0, kind="reflective"), at_m=AT_C1_M)
    assert of_events(*bodies)["C1"]["outcome"] == outcome


def test_of_selected_joints_nothing_else_is_held() -> None:
    bodies = with_reflection(-40.0), with_reflection(-40.0, is_forward=False)
    assert list(of_events(*bodies, at="line_closures")) == ["C1", "C2"]
    assert list(of_events(*bodies, at=["A"])) == ["A"]


@pytest.mark.parametrize(("reflectance_db", "is_echo"), [(-70.0, True), (-40.0, False)])
def test_an_echo_is_no_event_of_the_fibre(reflectance_db: float, is_echo: bool) -> None:
    # 1000 m from the port: twice as far as the connection at A, and what comes back twice is weak.
    event: Body = {"kind": "reflective", "loss_db": 0.0, "reflectance_db": reflectance_db}
    there, back = with_reflection(None), with_reflection(None, is_forward=False)
    traces = [with_event_from_a(there, 500.0, **event), back]
    assert ("S1" in of_events(*traces)) is not is_echo


def test_a_reflection_of_which_nothing_is_stated_is_not_known() -> None:
    trace = with_event_from_a(reflecting(is_forward=True, at_m={True: -1.0}), EVENT_M, kind="reflective", loss_db=0.05)
    found = of_events(trace, with_reflection(None, is_forward=False))
    assert (found["S2"]["outcome"], found["S2"]["reason"]) == ("undetermined", "reflectance_not_stated")


def test_what_reflects_on_no_joint_is_looked_for_in_its_section() -> None:
    asked = {**reflectance_criterion()}
    del asked["joint"]
    bodies = [*sealed(), with_reflection(-40.0), with_reflection(-40.0, is_forward=False)]
    item = only_item(judge(bodies, criteria=only(asked)))
    assert (item["act"], where(item)) == ("relieve_bend", "C1")
    assert "1400.00 m from A" in because(item)
    assert "find the damage there" in because(item)
