"""Whatever crews post, judging gives a document: it never fails, and order never matters."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.factories import (
    SITES,
    Body,
    bend_criterion,
    both_ways,
    coefficient_criterion,
    connection_criterion,
    density_criterion,
    difference_criterion,
    in_three_segments,
    length_criterion,
    make_attenuation,
    make_closure_state,
    make_criteria,
    make_design,
    make_otdr,
    make_sections,
    make_site,
    make_splice,
    make_termination,
    only,
    reflectance_criterion,
    required_record_criterion,
    required_test_criterion,
    return_loss_criterion,
    sealed,
    splice_criterion,
    stored,
    stray_criterion,
    with_site,
)
from tests.unit.judgement.judging import because, judge, splice_at_c1
from worker.judgement.history.evidence import Evidence

TIMES = st.integers(1, 28).map(lambda day: f"2025-03-{day:02d}T08:00:00Z")
DEVICES = st.sampled_from(["tablet-1", "tablet-2"])
ENDS = st.lists(st.sampled_from(SITES), min_size=2, max_size=2, unique=True)
CORDS_M = st.sampled_from([0.0, 5.0, 300.0, 500.0])
EVENTS = st.lists(
    st.fixed_dictionaries(
        {
            "distance_m": st.integers(0, 450_000).map(lambda cm: cm / 100),
            "kind": st.sampled_from(["reflective", "non_reflective", "saturated", "end"]),
        },
        optional={
            "loss_db": st.integers(-500, 900).map(lambda mdb: mdb / 1000),
            "reflectance_db": st.integers(-80, -20).map(float),
            "reflectance_qualifier": st.sampled_from(["eq", "lt", "gt"]),
        },
    ),
    max_size=8,
)
OPENED_FOR = st.sampled_from(
    [
        [{"section": "S1", "first": 1, "last": 1}],
        [{"section": "S2", "first": 5, "last": 12}, {"tray": 2}],
        [{"tray": 1}],
    ]
)
ALL_CRITERIA = only(
    splice_criterion(fallback={"attempts": 2, "limit_db": 0.6}),
    *make_criteria()["criteria"][1:],
    required_test_criterion(code="POWER", test="attenuation"),
    required_record_criterion(),
)
EVERY_TRACED_QUANTITY = only(
    *ALL_CRITERIA["criteria"],
    splice_criterion(code="ONE-WAY", tested_from="either", combination="worse", limit_db=0.2),
    connection_criterion(limit_db=0.4),
    reflectance_criterion(),
    stray_criterion(limit_db=0.05),
    bend_criterion(),
    density_criterion(),
    difference_criterion(),
    coefficient_criterion(least_length_m=500.0),
    return_loss_criterion(basis="computed", limit_db=30.0),
    length_criterion(),
)


# All that is tested from one end too, and of every event.
FROM_EACH_END = only(
    *(
        {**one, "code": f"{one['code']}-{end}", "combination": "mean", "tested_from": end}
        if one["quantity"] in {"splice_loss", "termination_loss", "connection_loss", "link_attenuation"}
        else {**one, "code": f"{one['code']}-{end}", "tested_from": end}
        for end in ("a", "b", "either")
        for one in EVERY_TRACED_QUANTITY["criteria"]
        if one["quantity"] not in {"splice_density", "direction_difference", "required_record"}
    ),
    *(
        {
            key: value
            for key, value in reflectance_criterion(code=f"EVENTS-{end}", tested_from=end).items()
            if key != "joint"
        }
        for end in ("a", "b", "either", "both")
    ),
)


@st.composite
def traces(draw: st.DrawFn) -> Body:
    """Draw a trace between any two sites, sound or with events of any kind anywhere."""
    start, end = draw(ENDS)
    changes: dict[str, Any] = {
        "made_at": draw(TIMES),
        "device": draw(DEVICES),
        "pulse_ns": draw(st.sampled_from([10, 100])),
    }
    if draw(st.booleans()):
        changes["events"] = draw(EVENTS)
    changes |= {"launch_m": draw(CORDS_M), "receive_m": draw(CORDS_M)}
    return make_otdr(from_site=start, to_site=end, **changes)


@st.composite
def other_records(draw: st.DrawFn) -> Body:
    """Draw a record of any other kind."""
    changes: dict[str, Any] = {"made_at": draw(TIMES), "device": draw(DEVICES)}
    match draw(st.sampled_from(["splice", "lid", "termination", "attenuation"])):
        case "splice":
            fibres = draw(st.sampled_from([(1,), (1, 2), (5,)]))
            return make_splice(
                site=draw(st.sampled_from(SITES)),
                fibres=fibres,
                sleeve_shrunk=draw(st.booleans()),
                proof_test_passed=draw(st.sampled_from([None, True, False])),
                attempt=draw(st.integers(1, 3)),
                splicer_sequence=draw(st.sampled_from([None, 1, 2])),
                **changes,
            )
        case "termination":
            return make_termination(site=draw(st.sampled_from(["A", "B"])), estimate_db=0.03, **changes)
        case "lid":
            state = draw(st.sampled_from(["opened", "sealed"]))
            if state == "opened" and draw(st.booleans()):
                changes["opened_for"] = draw(OPENED_FOR)
            return make_closure_state(site=draw(st.sampled_from(["C1", "C2"])), state=state, **changes)
        case _:
            start, end = draw(ENDS)
            return make_attenuation(
                from_site=start, to_site=end, loss_db=draw(st.sampled_from([0.01, 1.0, 9.0])), **changes
            )


EVIDENCE = st.builds(
    stored,
    st.one_of(traces(), other_records()),
    is_ended=st.booleans(),
    clock_is_flagged=st.booleans(),
    is_annulled=st.booleans(),
)


@given(
    evidence=st.lists(EVIDENCE, max_size=14, unique_by=lambda item: item.body["id"]),
    voiding=st.sampled_from(["fibre", "tray", "tube", "closure"]),
    data=st.data(),
)
def test_any_records_are_judged_to_the_same_bytes_in_any_order(
    evidence: list[Evidence], voiding: str, data: st.DataObject
) -> None:
    shuffled, criteria = data.draw(st.permutations(evidence)), {**ALL_CRITERIA, "rework_voids": voiding}
    one, other = judge(evidence, criteria=criteria), judge(shuffled, criteria=criteria)
    assert one.content == other.content
    counted = [sum(own) for own in one.counts.values()]
    assert counted == [len(one.document["findings"])] == [15]
    for finding in one.document["findings"]:
        assert (finding["outcome"] == "undetermined") == ("reason" in finding)
        assert finding["detail"]
    for item in one.document["work"]:
        assert because(item).endswith(".")


def crowded() -> Body:
    """Return a route whose panel, closures and far end share dead zones, with one cable of no length."""
    panel = make_site("C1", kind="patch_panel", termination="pigtail", patch_cord=True)
    return with_site(panel, at=1, closures=4, sections=make_sections([1000.0, 5.0, 12.0, 0.0, 30.0]))


def planned() -> Body:
    """Return an uneven route whose first fibres run through a closure that others are spliced in."""
    plan = [("C2", 1, 6, "uncut"), ("C3", 7, 11, "uncut"), ("C1", 12, 12, "stored")]
    splice_plan = [
        {"site": site, "fibres": {"first": first, "last": last}, "action": action} for site, first, last, action in plan
    ]
    return make_design(closures=3, sections=make_sections([400.0, 900.0, 700.0, 1200.0]), splice_plan=splice_plan)


def unbuilt() -> Body:
    """Return a route to a stub, through a closure that nobody opens and cable that no segment has."""
    uncut = {"site": "C1", "fibres": {"first": 1, "last": 12}, "action": "uncut"}
    design = make_design(splice_plan=[uncut])
    design["sites"][-1] = make_site("B", kind="stub")
    design["sections"][2]["first_cable_fibre"] = 25
    design["segments"][0]["sections"] = ["S2", "S3"]
    return design


@st.composite
def traced_routes(draw: st.DrawFn) -> tuple[Body, list[Evidence]]:
    """Draw a route and traces on it: sound ones, cut ones, or with events anywhere, in any order and twice over."""
    design = draw(
        st.sampled_from([make_design(closures=0), crowded(), planned(), unbuilt(), make_design(), in_three_segments()])
    )
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    records = sealed(sites=closures)
    for _ in range(draw(st.integers(0, 5))):
        # Most run from end to end, some up to a bare fibre or from one.
        whole = st.permutations(["A", "B"])
        ends = st.lists(st.sampled_from([site["id"] for site in design["sites"]]), min_size=2, max_size=2, unique=True)
        start, end = draw(st.one_of(whole, whole, ends))
        trace = make_otdr(
            design=design,
            from_site=start,
            to_site=end,
            pulse_ns=draw(st.sampled_from([10, 100, 1000])),
            wavelength_nm=draw(st.sampled_from([1310, 1550])),
            made_at=draw(TIMES),
            losses_db=draw(st.dictionaries(st.sampled_from(closures or ["A"]), st.sampled_from([None, 0.0, 0.5]))),
        )
        events = (
            draw(st.lists(st.sampled_from(trace["events"]), max_size=9)) if draw(st.booleans()) else trace["events"]
        )
        records.append({**trace, "events": draw(st.permutations([*events, *draw(EVENTS)]))})
    return design, [stored(record) for record in {record["id"]: record for record in records}.values()]


@given(route=traced_routes(), data=st.data())
def test_any_traces_on_any_route_are_judged_to_the_same_bytes_in_any_order(
    route: tuple[Body, list[Evidence]], data: st.DataObject
) -> None:
    design, evidence = route
    fibre = data.draw(st.sampled_from([1, 7, 12]))
    shuffled = data.draw(st.permutations(evidence))
    proven = {"segments_proven": data.draw(st.sampled_from(["with_route", "alone"]))}
    criteria = data.draw(st.sampled_from([EVERY_TRACED_QUANTITY, FROM_EACH_END])) | proven
    one, other = (judge(own, design=design, fibre=fibre, criteria=criteria) for own in (evidence, shuffled))
    assert one.content == other.content
    for finding in one.document["findings"]:
        assert (finding["outcome"] == "undetermined") == ("reason" in finding)


@pytest.mark.parametrize("closures", [0, 398])
def test_the_shortest_and_the_longest_routes_are_judged(closures: int) -> None:
    design = make_design(closures=closures)
    sites = [site["id"] for site in design["sites"][1:-1]]
    judgement = judge([*sealed(sites=sites), *both_ways(design=design)], design=design)
    outcomes = [one["outcome"] for one in judgement.document["findings"] if one["quantity"] == "splice_loss"]
    assert outcomes == ["conforming"] * (closures + 2)


@pytest.mark.parametrize("kind", ["reflective", "non_reflective", "saturated", "end"])
@pytest.mark.parametrize("step_m", [0.0, 1.5])
def test_thousands_of_events_prove_nothing(kind: str, step_m: float) -> None:
    events = [{"distance_m": 1000.0 + number * step_m, "kind": kind, "loss_db": 0.01} for number in range(2000)]
    traces = [trace for nm in (1310, 1550) for trace in both_ways(wavelength_nm=nm, events=events)]
    judgement = judge([*sealed(), *traces], criteria=ALL_CRITERIA)
    assert {one["outcome"] for one in judgement.document["findings"]} == {"undetermined"}


@given(
    extra=st.lists(
        st.fixed_dictionaries(
            {
                "distance_m": st.integers(51_000, 349_000).map(lambda cm: cm / 100),
                "kind": st.sampled_from(["reflective", "non_reflective"]),
                "loss_db": st.integers(-600, 600).map(lambda mdb: mdb / 1000),
            }
        ),
        max_size=4,
    ),
    away_m=st.integers(-600, 600).map(lambda dm: dm / 10),
)
def test_nothing_that_one_direction_shows_besides_proves_a_bad_joint_good(extra: list[Body], away_m: float) -> None:
    forward, backward = (
        {
            **trace,
            "events": [{**event, "distance_m": event["distance_m"] + _off(event, by_m)} for event in trace["events"]],
        }
        for trace, by_m in zip(both_ways(losses_db={"C1": 0.5}), (away_m, -away_m), strict=True)
    )
    records = [*sealed(), {**forward, "events": [*forward["events"], *extra]}, backward]
    assert splice_at_c1(records)["outcome"] != "conforming"


def _off(event: Body, by_m: float) -> float:
    return by_m if event.get("loss_db") == 0.5 else 0.0
