"""The length that traces show of each span against the design's fibre length."""

from collections.abc import Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    length_criterion,
    make_design,
    make_otdr,
    make_sections,
    make_segment,
    make_site,
    make_terminal,
    only,
    sealed,
    stored,
    with_events,
)
from tests.unit.judgement.judging import judge
from worker.judgement.history.evidence import Evidence


def findings(
    bodies: Sequence[Body | Evidence], *, design: Body | None = None, **changes: Any
) -> dict[str, FindingDocument]:
    """Return the findings by the two ends they are about."""
    criterion = length_criterion(**{"limit_percent": 0.3, **changes})
    judged = judge(bodies, design=design, criteria=only(criterion))
    return {f"{one['from_site']}-{one['to_site']}": one for one in judged.document["findings"]}


def whole(bodies: Sequence[Body | Evidence], **changes: Any) -> FindingDocument:
    """Return the finding about the whole route."""
    [finding] = findings(bodies, **changes).values()
    return finding


def trace(longer_m: float = 0.0, **ends: Any) -> Body:
    """Return a trace whose far connection and end lie farther than designed."""
    usual = make_otdr(**ends)
    last_m = usual["events"][-1]["distance_m"] - usual["receive_cord"]["length_m"] - 200.0

    def move(event: Body) -> Body:
        is_far = event["distance_m"] > last_m
        return {**event, "distance_m": round(event["distance_m"] + longer_m, 2)} if is_far else event

    return with_events(usual, move)


BACK: Body = {"from_site": "B", "to_site": "A"}


def two_way(there_m: float, back_m: float) -> list[Body]:
    """Return a trace from each end, each so much longer than the 3000 m of the design."""
    return [*sealed(), trace(there_m), trace(back_m, **BACK)]


# 0.3 % of 3000 m are 9 m; a trace off by more than the placing tolerance of 10 m proves no length alone.
@pytest.mark.parametrize(
    ("there_m", "back_m", "value", "outcome"),
    [
        (9.0, 9.0, "0.3000", "conforming"),
        (9.02, 8.98, "0.3000", "conforming"),
        (9.01, 9.0, "0.3002", "nonconforming"),
        (-9.0, -9.0, "0.3000", "conforming"),
        (-9.01, -9.0, "0.3002", "nonconforming"),
        (9.0, -9.0, "0.0000", "conforming"),
    ],
)
def test_the_mean_of_both_directions_is_held_in_percent(
    there_m: float, back_m: float, value: str, outcome: str
) -> None:
    finding = whole(two_way(there_m, back_m))
    assert (finding["value"], finding["unit"], finding["outcome"]) == (value, "%", outcome)
    assert (finding["from_site"], finding["to_site"], finding["segments"]) == ("A", "B", ["SEG1"])


def test_what_is_printed_as_nothing_still_decides() -> None:
    # A centimetre of 300 km in one direction: 0.0000017 percent.
    long = make_design(sections=make_sections([100_000.0] * 3))
    bodies = [*sealed(), trace(design=long), trace(0.01, design=long, **BACK)]
    finding = whole(bodies, design=long, limit_percent=0.0)
    assert (finding["value"], finding["outcome"]) == ("0.0000", "nonconforming")


def test_the_detail_says_each_length_and_the_designed_one() -> None:
    assert whole(two_way(3.0, 5.0))["detail"] == (
        "3003.00 m (A to B at 1550 nm, index 1.46800) and 3005.00 m (B to A at 1550 nm, index 1.46800), "
        "designed 3000.00 m"
    )
    assert [reading["value"] for reading in whole(two_way(3.0, -5.0))["readings"]] == ["0.1000", "-0.1667"]


def test_slack_and_excess_belong_to_the_designs_fibre() -> None:
    design = make_design()
    design["sections"][0] |= {"slack_m": 20.0, "excess_percent": 1.0}
    finding = whole([*sealed(), *both_ways(design=design)], design=design)
    assert (finding["value"], finding["outcome"]) == ("0.0000", "conforming")
    assert "designed 3030.20 m" in finding["detail"]


def test_a_route_of_no_length_has_no_percentage() -> None:
    design = make_design(sections=make_sections([0.0] * 3))
    assert findings([*sealed(), *both_ways(design=design)], design=design) == {}


def test_one_direction_is_not_enough() -> None:
    finding = whole([*sealed(), trace(0.0)])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "one_direction_only")
    assert finding["detail"].startswith("3000.00 m (A to B at 1550 nm, index 1.46800) and no length B to A that counts")
    assert whole(sealed())["reason"] == "no_evidence"


def test_two_halves_at_different_wavelengths_make_no_pair() -> None:
    halves = [make_otdr(wavelength_nm=1310), make_otdr(from_site="B", to_site="A", wavelength_nm=1550)]
    assert whole([*sealed(), *halves])["reason"] == "one_direction_only"
    other = make_otdr(from_site="B", to_site="A", wavelength_nm=1310)
    assert whole([*sealed(), *halves, other])["outcome"] == "conforming"


def test_a_trace_that_does_not_reach_the_end_has_no_length() -> None:
    short = make_otdr(events=[{"distance_m": 2000.0, "kind": "end"}])
    assert whole([*sealed(), short, trace(0.0, **BACK)])["reason"] == "beyond_reach"


def test_a_length_before_sealing_or_withdrawn_does_not_count() -> None:
    assert whole([trace(0.0), trace(0.0, **BACK)])["reason"] == "sealing_not_recorded"
    there, back = trace(0.0), trace(0.0, **BACK)
    finding = whole([*sealed(), stored(there, is_ended=True), back])
    assert finding["void"] == [{"record": there["id"], "reason": "replaced_or_withdrawn"}]


def panelled() -> Body:
    """Return 2 km from A to a patch panel and 1 km on to B, each paid for by itself."""
    panel = make_site("P", kind="patch_panel", termination="pigtail")
    sections = make_sections([2000.0, 1000.0])
    segments = [
        make_segment("SEG1", sites=["A", "P"], sections=["S1"]),
        make_segment("SEG2", sites=["B"], sections=["S2"]),
    ]
    return make_design(sites=[make_terminal("A"), panel, make_terminal("B")], sections=sections, segments=segments)


def test_each_span_is_held_by_itself_where_it_was_traced_by_itself() -> None:
    design = panelled()
    ends = [("A", "P"), ("P", "A"), ("P", "B")]
    found = findings([make_otdr(from_site=start, to_site=end, design=design) for start, end in ends], design=design)
    assert (found["A-P"]["outcome"], found["A-P"]["segments"]) == ("conforming", ["SEG1"])
    assert (found["P-B"]["reason"], found["P-B"]["segments"]) == ("one_direction_only", ["SEG2"])


def test_traces_from_terminal_to_terminal_hold_the_whole_route() -> None:
    design = panelled()
    found = findings(both_ways(design=design), design=design)
    assert list(found) == ["A-B"]
    assert (found["A-B"]["outcome"], found["A-B"]["segments"]) == ("conforming", ["SEG1", "SEG2"])
