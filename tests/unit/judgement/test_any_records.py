"""Whatever crews post, judging gives a document: it never fails, and order never matters."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from tests.factories import (
    Body,
    link_criterion,
    make_attenuation,
    make_closure_state,
    make_criteria,
    make_otdr,
    make_splice,
    required_test_criterion,
    splice_criterion,
    stored,
    termination_criterion,
)
from tests.unit.judgement.judging import SITES, judge
from worker.judgement.evidence import Evidence

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
        optional={"loss_db": st.integers(-500, 900).map(lambda mdb: mdb / 1000)},
    ),
    max_size=8,
)
ALL_CRITERIA = make_criteria(
    criteria=[
        splice_criterion(),
        termination_criterion(),
        link_criterion(),
        required_test_criterion(),
        required_test_criterion(code="POWER", test="attenuation"),
    ]
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
    match draw(st.sampled_from(["splice", "lid", "attenuation"])):
        case "splice":
            fibres = draw(st.sampled_from([(1,), (1, 2), (5,)]))
            return make_splice(
                site=draw(st.sampled_from(SITES)), fibres=fibres, sleeve_shrunk=draw(st.booleans()), **changes
            )
        case "lid":
            state = draw(st.sampled_from(["opened", "sealed"]))
            return make_closure_state(site=draw(st.sampled_from(["C1", "C2"])), state=state, **changes)
        case _:
            start, end = draw(ENDS)
            return make_attenuation(
                from_site=start, to_site=end, loss_db=draw(st.sampled_from([0.01, 1.0, 9.0])), **changes
            )


EVIDENCE = st.builds(
    stored, st.one_of(traces(), other_records()), is_ended=st.booleans(), clock_is_flagged=st.booleans()
)


@given(evidence=st.lists(EVIDENCE, max_size=14, unique_by=lambda item: item.body["id"]), data=st.data())
def test_any_records_are_judged_to_the_same_bytes_in_any_order(evidence: list[Evidence], data: st.DataObject) -> None:
    shuffled = data.draw(st.permutations(evidence))
    one, other = judge(evidence, criteria=ALL_CRITERIA), judge(shuffled, criteria=ALL_CRITERIA)
    assert one.content == other.content
    counted = [own["conforming"] + own["nonconforming"] + own["undetermined"] for own in one.counts.values()]
    assert counted == [len(one.document["findings"])] == [9]
    for finding in one.document["findings"]:
        assert (finding["outcome"] == "undetermined") == ("reason" in finding)
        assert finding["detail"]
    for item in one.document["work"]:
        assert item["because"].endswith(".")
