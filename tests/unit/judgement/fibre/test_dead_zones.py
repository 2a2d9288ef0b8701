"""Joints in one dead zone are one group with one reading, at one site or at several.

A pulse of 10 ns covers 1.02 m of fibre, one of 100 ns 10.2 m (c·t/2n, computed); that a dead zone is several pulses
long is common practice, no source, and three of them the usual setting.
"""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_cleaning,
    make_criteria,
    make_design,
    make_otdr,
    make_sections,
    make_site,
    only,
    sealed,
    splice_criterion,
    termination_criterion,
    with_events,
    with_site,
)
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.judge import FibreJudgement

PULSES_NS = 100
PANEL = make_site("C1", kind="patch_panel", termination="factory_cord")


def beside_design(*, apart_m: float = 20.0, is_panel: bool = True) -> Body:
    """Return a route with a closure `C2` a few metres behind a panel, or closure, `C1`."""
    sections = make_sections([1000.0, apart_m, 1000.0])
    return with_site(PANEL if is_panel else make_site("C1"), at=1, sections=sections)


def only_c1(trace: Body) -> Body:
    """Return a trace that shows one event for both joints, where C1 is or as near to it as the light meets them."""
    at_c2_m = {"A": 500.0 + 1020.0, "B": 300.0 + 1000.0}[trace["from_site"]]
    return with_events(trace, lambda event: None if event["distance_m"] == at_c2_m else event)


def judge_beside(
    design: Body, traces: list[Body], *, sites: tuple[str, ...] = ("C2",), criteria: Body | None = None
) -> FibreJudgement:
    """Judge traces of a route with two sites beside each other."""
    return judge([*sealed(sites=sites), *traces], design=design, criteria=criteria)


def merged(*, loss_db: float, is_panel: bool = True, pulse_ns: int = PULSES_NS) -> list[Body]:
    """Return traces of both directions that show both joints as one event."""
    design = beside_design(is_panel=is_panel)
    traces = both_ways(design=design, losses_db={"C1": loss_db}, pulse_ns=pulse_ns)
    return [only_c1(trace) for trace in traces]


def test_a_splice_behind_a_panel_is_no_more_than_what_both_show_together() -> None:
    judgement = judge_beside(beside_design(), merged(loss_db=0.1))
    for name, site in (("SPLICE-1550", "C2"), ("TERM-1550", "C1")):
        finding = finding_of(judgement, name, site=site)
        assert (finding["outcome"], finding["value"]) == ("conforming", "0.1000")


def test_cleaning_a_panel_voids_what_was_read_of_it_and_the_splice_beside_it_together() -> None:
    cleaned = make_cleaning(site="C1", made_at="2025-03-25T08:00:00Z")
    judgement = judge_beside(beside_design(), [*merged(loss_db=0.1), cleaned])
    for name, site in (("SPLICE-1550", "C2"), ("TERM-1550", "C1")):
        assert finding_of(judgement, name, site=site)["reason"] == "before_cleaning"


@pytest.mark.parametrize(
    ("loss_db", "splice", "connection"),
    [
        (0.1, "conforming", "conforming"),
        (0.101, "undetermined", "conforming"),
        (0.5, "undetermined", "conforming"),
        (0.501, "undetermined", "undetermined"),
    ],
)
def test_a_closures_splice_beside_a_panel_has_no_share_in_what_the_connection_may_lose(
    loss_db: float, splice: str, connection: str
) -> None:
    judgement = judge_beside(beside_design(), merged(loss_db=loss_db))
    assert finding_of(judgement, "SPLICE-1550", site="C2")["outcome"] == splice
    assert finding_of(judgement, "TERM-1550", site="C1")["outcome"] == connection


def test_a_group_above_a_splices_own_limit_proves_nothing_without_a_criterion_for_groups() -> None:
    criteria = only(splice_criterion())
    finding = finding_of(
        judge_beside(beside_design(), merged(loss_db=0.4), criteria=criteria), "SPLICE-1550", site="C2"
    )
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "group_only")


@pytest.mark.parametrize(
    ("losses_db", "said"),
    [({"C1": 0.05, "C2": 0.03}, ("0.0800", None)), ({"C1": None, "C2": None}, (None, "pair_not_seen"))],
)
def test_events_seen_apart_in_one_dead_zone_add_up_and_a_panel_without_any_is_not_seen(
    losses_db: dict[str, float | None], said: tuple[str | None, str | None]
) -> None:
    design = beside_design()
    judgement = judge_beside(design, both_ways(design=design, losses_db=losses_db, pulse_ns=PULSES_NS))
    for name, site in (("TERM-1550", "C1"), ("SPLICE-1550", "C2")):
        finding = finding_of(judgement, name, site=site)
        assert (finding.get("value"), finding.get("reason")) == said


# Three pulses of 100 ns are 30.6 m.
@pytest.mark.parametrize(("apart_m", "is_group"), [(30.6, True), (30.61, False)])
def test_a_dead_zone_is_three_pulses_long(apart_m: float, is_group: bool) -> None:
    design = beside_design(apart_m=apart_m)
    traces = both_ways(design=design, losses_db={"C1": 0.2, "C2": 0.05}, pulse_ns=PULSES_NS)
    finding = finding_of(judge_beside(design, traces), "SPLICE-1550", site="C2")
    assert finding["value"] == ("0.2500" if is_group else "0.0500")


def test_how_long_a_dead_zone_is_is_agreed() -> None:
    design, criteria = beside_design(), make_criteria(placing={"dead_zone_pulses": 1.9, "parted_pulses": 1.9})
    traces = both_ways(design=design, losses_db={"C1": 0.2, "C2": 0.05}, pulse_ns=PULSES_NS)
    assert finding_of(judge_beside(design, traces, criteria=criteria), "SPLICE-1550", site="C2")["value"] == "0.0500"


# A pulse of 300 ns covers 30.6 m: two closures 20 m apart are one event.
@pytest.mark.parametrize(("loss_db", "outcome"), [(0.1, "conforming"), (0.15, "undetermined"), (3.0, "undetermined")])
def test_two_closures_within_a_pulse_prove_each_other_only_together(loss_db: float, outcome: str) -> None:
    judgement = judge_beside(
        beside_design(is_panel=False),
        merged(loss_db=loss_db, is_panel=False, pulse_ns=300),
        sites=("C1", "C2"),
    )
    for site in ("C1", "C2"):
        finding = finding_of(judgement, "SPLICE-1550", site=site)
        assert finding["outcome"] == outcome
        assert {reading["value"] for reading in finding["readings"]} == {f"{loss_db:.3f}"}


def test_a_longer_pulse_in_one_direction_hides_what_lies_behind_a_reflection() -> None:
    design = beside_design()
    forward, _ = both_ways(design=design, losses_db={"C1": 0.2, "C2": 0.04}, pulse_ns=10)
    _, backward = merged(loss_db=0.2)
    finding = finding_of(judge_beside(design, [forward, backward]), "SPLICE-1550", site="C2")
    # 0.24 dB from A, 0.20 dB from B: both are of the whole group.
    assert finding["value"] == "0.2200"


def test_a_pulse_too_long_for_a_place_does_not_outdo_the_short_one_that_sees_it() -> None:
    design = beside_design()
    short = both_ways(design=design, losses_db={"C1": 0.2, "C2": 0.04}, pulse_ns=10)
    judgement = judge_beside(design, [*short, *merged(loss_db=0.2)])
    assert finding_of(judgement, "SPLICE-1550", site="C2")["value"] == "0.0400"


def test_a_pulse_too_long_for_a_place_never_says_that_nothing_is_there() -> None:
    design = beside_design()
    beyond = both_ways(design=design, losses_db={"C1": 0.2, "C2": 0.04}, pulse_ns=10)
    short = [with_events(trace, _until_c1, added=[_end_before_c2(trace)]) for trace in beyond]
    finding = finding_of(judge_beside(design, [*short, *merged(loss_db=0.2)]), "SPLICE-1550", site="C2")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "beyond_reach")


def _until_c1(event: Body) -> Body | None:
    return event if event["distance_m"] < 1200.0 and event["kind"] != "end" else None


def _end_before_c2(trace: Body) -> Body:
    return {"distance_m": 1200.0, "kind": "end"}


def near_end_design() -> Body:
    """Return a route whose first closure stands 20 m behind terminal A."""
    return make_design(sections=make_sections([20.0, 1000.0, 1000.0]))


@pytest.mark.parametrize(("launch_m", "reason"), [(500.0, None), (0.0, "no_cord")])
def test_a_closure_beside_a_terminal_is_measured_only_with_a_cord(launch_m: float, reason: str | None) -> None:
    changes: dict[str, Any] = {"design": near_end_design(), "pulse_ns": PULSES_NS, "losses_db": {"A": 0.06}}
    forward, _ = both_ways(launch_m=launch_m, **changes)
    _, backward = both_ways(**changes)
    criteria = only(splice_criterion(), termination_criterion())
    judgement = judge([*sealed(), forward, backward], design=near_end_design(), criteria=criteria)
    finding = finding_of(judgement, "SPLICE-1550", site="C1")
    assert finding.get("reason") == reason
    assert finding.get("value") == (None if reason else "0.1000")


def test_a_closure_before_a_panel_as_seen_from_a_is_in_its_dead_zone_too() -> None:
    design = beside_design(is_panel=False)
    design["sites"][2] |= {"kind": "patch_panel", "termination": "factory_cord"}
    traces = both_ways(design=design, losses_db={"C1": 0.05, "C2": 0.2}, pulse_ns=PULSES_NS)
    finding = finding_of(judge_beside(design, traces, sites=("C1",)), "SPLICE-1550", site="C1")
    assert finding["value"] == "0.2500"


def test_a_trace_of_part_of_a_dead_zone_measures_nothing_in_it() -> None:
    plan = [{"site": "C2", "fibres": {"first": 1, "last": 12}, "action": "uncut"}]
    sections = make_sections([1000.0, 10.0, 10.0, 1000.0])
    design = with_site(PANEL, at=1, closures=3, sections=sections, splice_plan=plan)
    traces = [
        make_otdr(design=design, from_site=start, to_site=end, pulse_ns=PULSES_NS)
        for start, end in (("C2", "B"), ("B", "C2"))
    ]
    finding = finding_of(judge_beside(design, traces, sites=("C2", "C3")), "SPLICE-1550", site="C3")
    assert finding["reason"] == "group_only"


@pytest.mark.parametrize(("apart_m", "reason"), [(3.06, None), (3.07, "loss_not_stated")])
def test_an_event_merged_into_one_before_it_has_its_loss_there(apart_m: float, reason: str | None) -> None:
    # Three pulses of 10 ns are 3.06 m (c·t/2n, computed): the pigtail's splice is listed, and its loss is with the
    # connection before it.
    def followed(trace: Body, at_m: float) -> Body:
        return with_events(trace, dict, added=[{"distance_m": at_m + apart_m, "kind": "non_reflective"}])

    there, back = both_ways(pulse_ns=10)
    traces = [followed(there, 500.0), followed(back, 3300.0)]
    judgement = judge([*sealed(), *traces], criteria=only(termination_criterion()))
    assert finding_of(judgement, "TERM-1550", site="A").get("reason") == reason
